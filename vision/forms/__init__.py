"""Forms: from measures to ISO 3685 groups and codes, and the verdict over a photo."""

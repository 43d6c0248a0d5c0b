"""Rendered training world, model fitting and evaluation; never used by a reading."""

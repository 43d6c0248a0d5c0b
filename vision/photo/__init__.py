"""From the bytes of a photo to a flat, balanced picture of the card in millimetres."""

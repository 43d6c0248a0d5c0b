"""Chips: found one by one on the flattened sheet, traced and measured."""

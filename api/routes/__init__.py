"""Thin routes: each asks one question of the kitchen and types the answer."""

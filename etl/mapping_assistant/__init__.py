"""Proposes how a foreign export becomes the tables of the contract; asks, and never decides, unit, sign and side."""

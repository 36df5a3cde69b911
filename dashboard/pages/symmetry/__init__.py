"""Symmetry: how common is a side difference, and do we resolve it?"""

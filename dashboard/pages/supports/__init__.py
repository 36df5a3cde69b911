"""Supports: what moved the knee, and for whom?"""

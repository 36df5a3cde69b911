"""Riders: what happened to this rider?"""

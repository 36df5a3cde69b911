"""Studio: how are we doing?"""

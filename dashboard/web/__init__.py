"""Serving the screens over HTTP: the server and its bounds, what is refused, headers, downloads, uploads, logs."""

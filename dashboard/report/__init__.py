"""The owner's report: the answers and figures of the screens on paper, as one HTML file or a PDF."""

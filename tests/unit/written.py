"""The words in a figure, wherever they stand: as points of text, or as notes of the layout."""

from typing import Any


def written(figure: dict[str, Any]) -> list[str]:
    points = [text for trace in figure["data"] if trace.get("mode") == "text" for text in trace["text"]]
    return points + [note["text"] for note in figure["layout"].get("annotations", ())]

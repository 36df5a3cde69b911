"""Ids of the places of the Studio page's views."""

from typing import Final

PICTURE: Final = "studio-picture"
TODO: Final = "studio-todo"
OVER_TIME: Final = "studio-over-time"
STUDIOS: Final = "studio-studios"
TASKS: Final = "studio-tasks"
FIGURES: Final = "studio-figures"

"""Dash that gives the browser no more to do than the pages need."""

import functools
import re
from collections.abc import Callable, Collection
from pathlib import Path
from typing import Any, Final

from dash import Dash, Input, State
from dash._utils import to_json
from dash.development.base_component import Component

from dashboard.components import ids
from dashboard.components.still import made_still, touched_ids
from dashboard.web.bundles import Bundles

# Dash asks that a script of its page be named so.
_SCRIPT: Final = "dash-renderer.js"
_STYLES: Final = "styles.css"
_SOURCE: Final = re.compile(r'(?:src|href)="([^"]+)"')
# What Dash puts on every page for browsers of the years before 2020, for a table component that no page has, and for thirty
# components of which the pages use two (assets/core.js).
_NOT_NEEDED: Final = re.compile(r"/(?:deps/polyfill@|dash_table/|dcc/)")
# Where a callback is given the query of the address.
_QUERIES: Final = (f"{ids.URL}.search", f"{ids.VIEW}.data")
# Read after all others: the page stands and asks its questions while the browser reads it (assets/still.js waits for it).
_CHARTS: Final = re.compile(r"/plotly-basic\.")


class LeanDash(Dash):  # type: ignore[misc]  # Dash is untyped
    """Dash whose layout and answers are made still where nothing reads or writes them, and whose pages load what they use.

    `scripted`: ids that own scripts fill, beside those of the callbacks.
    """

    def __init__(self, *names: str, scripted: Collection[str] = (), **options: Any) -> None:
        super().__init__(*names, **options)
        self._scripted = frozenset(scripted)
        self._bundles = Bundles(self.config.requests_pathname_prefix, Path(self.config.assets_folder), self.index)
        self._bundles.add_to(self.server)

    def callback(self, *parts: Any, **options: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
        """Registers a callback as Dash does, and makes still what its function returns."""
        register = super().callback(*parts, **options)
        given = [part.component_id_str() + "." + part.component_property for part in parts if isinstance(part, Input | State)]
        at = next((given.index(place) for place in _QUERIES if place in given), None)

        def of(function: Callable[..., Any]) -> Callable[..., Any]:
            @functools.wraps(function)
            def answer(*inputs: Any) -> Any:
                return self.still(function(*inputs), None if at is None else inputs[at])

            register(answer)
            return function

        return of

    def still(self, shown: Any, of: str | None = None) -> Any:
        """What is shown, with every piece that no callback names as one component; `of`: the query that it answers."""
        return made_still(shown, self._touched, of)

    def interpolate_index(self, **parts: str) -> str:
        """The page's HTML with one script and one style sheet, without what nothing here uses, and the charts' script last."""
        sources = [source for source in _SOURCE.findall(parts["scripts"]) if not _NOT_NEEDED.search(source)]
        charts = [source for source in sources if _CHARTS.search(source)]
        script = self._bundles.address((source for source in sources if source not in charts), _SCRIPT)
        styles = self._bundles.address(_SOURCE.findall(parts["css"]), _STYLES)
        whole = {
            **parts,
            "scripts": f'{self._first_words()}\n<script src="{script}"></script>',
            "css": f'<link rel="stylesheet" href="{styles}">',
            "renderer": "\n".join([parts["renderer"], *(f'<script src="{source}"></script>' for source in charts)]),
        }
        return str(super().interpolate_index(**whole))

    def _first_words(self) -> str:
        """What the browser would ask for next, as data in the page: the layout, the list of callbacks, and which places of the
        layout can be asked for at once (assets/questions.js)."""
        layout = self.get_layout()
        scripts = {
            'data-answers="_dash-layout"': layout,
            'data-answers="_dash-dependencies"': self._callback_list,
            'id="first-questions"': self._first_questions(layout),
        }
        # Dash writes signs that could end the element by their numbers.
        return "\n".join(f'<script type="application/json" {name}>{to_json(value)}</script>' for name, value in scripts.items())

    def _first_questions(self, layout: Component) -> dict[str, Any]:
        """The places that follow from view and theme alone, in the order in which the pages name them."""
        by_id = {part.id: part for part in layout._traverse() if getattr(part, "id", None)}
        follows = [(ids.VIEW, "data"), (ids.THEME, "data")]
        view = getattr(by_id[ids.VIEW], "data", None)
        places = [
            place
            for output, one in self.callback_map.items()
            if [(part["id"], part["property"]) for part in one["inputs"]] == follows and not one["state"]
            for place, _, prop in [output.rpartition(".")]
            if place in by_id and prop == "children" and view is not None
        ]
        prefix = self.config.requests_pathname_prefix
        return {"address": f"{prefix}_dash-update-component", "view": view, "places": places}

    @functools.cached_property
    def _touched(self) -> frozenset[str]:
        """Ids that callbacks or scripts read or write; asked for the first time when all are registered."""
        return self._scripted | touched_ids(self.callback_map, self._callback_list)

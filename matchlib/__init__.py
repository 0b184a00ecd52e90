"""The science of transparent colour coats over a ground: film, regression, search, advice.

The names that most work needs stand here, and load what they need when they are first asked for;
every other public name stands in the module of its noun, for example `matchlib.colorimetry`.

Examples
--------
>>> from matchlib import FilmRegressor, Target, suggest
>>> from matchlib.demo import demo_panels
>>> from matchlib.readings import frame_of
>>> panels = frame_of(demo_panels())
>>> model = FilmRegressor().fit(panels, panels[["L", "a", "b"]])
>>> print(suggest(model, Target.lab(27.1, 45.9, 28.5))[0].recipe)
cherry over pale gold, 4@4.5:1
"""

import sys
from types import ModuleType

TYPE_CHECKING = False  # what checkers take for true; `typing` alone would take half of the start

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.audit import audit
    from matchlib.domain import CoatSchedule, MixRatio, Panel, Reading, Recipe, Viewing
    from matchlib.mixing import Limits
    from matchlib.next_panel import next_for_archive
    from matchlib.readings import read_file
    from matchlib.regression import FilmRegressor
    from matchlib.steering import correct
    from matchlib.suggest import suggest
    from matchlib.target import Target
    from matchlib.validation import cross_validate

__all__ = [
    "Archive",
    "CoatSchedule",
    "FilmRegressor",
    "Limits",
    "MixRatio",
    "Panel",
    "Reading",
    "Recipe",
    "Target",
    "Viewing",
    "__version__",
    "audit",
    "correct",
    "cross_validate",
    "next_for_archive",
    "read_file",
    "suggest",
]

__version__ = "0.2.0"

_HOMES = {
    "Archive": "archive",
    "CoatSchedule": "domain",
    "FilmRegressor": "regression",
    "Limits": "mixing",
    "MixRatio": "domain",
    "Panel": "domain",
    "Reading": "domain",
    "Recipe": "domain",
    "Target": "target",
    "Viewing": "domain",
    "audit": "audit",
    "correct": "steering",
    "cross_validate": "validation",
    "next_for_archive": "next_panel",
    "read_file": "readings",
    "suggest": "suggest",
}


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    found = getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


class _Front(ModuleType):
    """Keeps `suggest` and `audit` the functions, though the packages they stand in are so called.

    The import of a package sets its name on the package above.
    """

    def __setattr__(self, name: str, value: object) -> None:
        if not (name in _HOMES and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Front

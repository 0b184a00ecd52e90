"""The science of transparent colour coats over a ground: film, regression, search, advice.

Importing this package loads nothing but itself; import the module that holds the noun you need,
for example ``from matchlib.domain import Recipe``.
"""

__all__ = ["__version__"]

__version__ = "0.1.0"

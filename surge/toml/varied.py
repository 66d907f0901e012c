"""Files of which single values differ: the tables that hold these are read anew, and no other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ValidationError

from surge.errors import Origin

Model = TypeVar("Model", bound=BaseModel)


@dataclass(frozen=True, kw_only=True)
class Varied(Generic[Model]):
    """A file that was read without a fault, in which other values are put.

    Attributes
    ----------
    data : dict
        As ``tomllib`` gives it; the values in it are replaced.
    sound : model
        The same as tables.
    paths : tuple of Origin
        Where the values stand that differ: in a top table, in one of a list, or in one under a name.
    """

    data: dict[str, Any]
    sound: Model
    paths: tuple[Origin, ...]

    def tables(self, values: Sequence[object]) -> Model | None:
        """Return the tables with a value at each of the paths; None where one of them is refused.

        Parameters
        ----------
        values : sequence
            As ``tomllib`` gives them.
        """
        for path, value in zip(self.paths, values, strict=True):
            holder: Any = self.data
            for part in path[:-1]:
                holder = holder[part]
            holder[path[-1]] = value
        try:
            return self.sound.model_copy(update={top: self._read(top) for top in self._tops})
        except ValidationError:
            return None

    @property
    def _tops(self) -> list[str]:
        return list(dict.fromkeys(str(path[0]) for path in self.paths))

    def _read(self, top: str) -> Any:
        now, data = getattr(self.sound, top), self.data[top]
        if isinstance(now, BaseModel):
            return type(now).model_validate(data)
        tables = now.copy()
        for at in {path[1]: None for path in self.paths if path[0] == top}:
            tables[at] = type(now[at]).model_validate(data[at])
        return tables

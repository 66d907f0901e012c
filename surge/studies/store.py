"""The folder of results: a manifest, and the runs as Parquet files, one for each chunk.

Decisions
---------
* A chunk is written once and whole (:func:`surge.outputs.write_whole`): a study that was interrupted, killed,
  or ran out of disk goes on with the chunks that are not there.
* The manifest says of what the results are: program, hashes of the study and of every file that it names, and
  the chunks. A folder with another manifest is refused; results of two studies are never mixed.
* One study works in a folder at a time (:mod:`surge.studies.lock`).
* No file holds the time of day or a name of a computer, so that the same study gives the same files.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from surge import __version__
from surge.choices import PictureKind, StudyPicture, words_of
from surge.errors import RequestError
from surge.outputs import PREFIX, write_whole
from surge.studies.columns import Column, columns_of
from surge.studies.lock import LOCK, locked
from surge.studies.plan import Plan
from surge.units import printable

MANIFEST, RUNS, WORST = "study.json", "runs", "worst.toml"
PICTURES = [f"{of}.{kind}" for of in words_of(StudyPicture) for kind in words_of(PictureKind)]
INSTALL = 'pip install "surge[study]"'
Table = dict[str, list[Any]]


def arrow() -> Any:
    """Return the library pyarrow.

    Raises
    ------
    RequestError
        It is not installed.
    """
    try:
        import pyarrow
        import pyarrow.parquet  # noqa: F401  it is a part of what is returned
    except ImportError:
        raise RequestError(f"a study keeps its runs with the library pyarrow: {INSTALL}") from None
    return pyarrow


@dataclass(frozen=True, kw_only=True)
class Store:
    """Results of one plan in one folder."""

    plan: Plan
    folder: Path

    # The folder

    @contextmanager
    def held(self) -> Iterator[None]:
        """Keep every other study out of the folder, which is made where it is not there.

        Raises
        ------
        RequestError
            Another one is at work there; or it is no folder, or cannot be written.
        """
        self._refuse_inputs()
        with self.writing():
            self.folder.mkdir(parents=True, exist_ok=True)
        with ExitStack() as stack:
            with self.writing():
                alone = stack.enter_context(locked(self.folder / LOCK))
            if not alone:
                raise RequestError(
                    f"another study is at work in {printable(str(self.folder))}: wait until it has ended, "
                    "or name another folder with --into"
                )
            yield

    def open(self, *, afresh: bool = False) -> None:
        """Make the folder, which is :meth:`held`, ready, or find it as it was left.

        Parameters
        ----------
        afresh : bool
            What other studies left there is taken away first.

        Raises
        ------
        RequestError
            Something else is there, or it cannot be written.
        """
        mine = self.manifest()
        there = self._there()
        if there is not None and there != mine and not afresh:
            raise RequestError(
                f"{printable(str(self.folder))} has the results of another study, case or version "
                f"({differing(there, mine)}): name another folder with --into, or add --force to begin anew"
            )
        if there is None and any(p.name != LOCK for p in self.folder.iterdir()):
            raise RequestError(
                f"{printable(str(self.folder))} is no folder of results, and not empty: "
                "name another folder with --into"
            )
        with self.writing():
            (self.folder / RUNS).mkdir(parents=True, exist_ok=True)
            for path in self._stale(all_of_it=there != mine):
                path.unlink()
            if there != mine:
                write_whole(self.folder / MANIFEST, json.dumps(mine, indent=1) + "\n")

    def _refuse_inputs(self) -> None:
        """What the study reads does not stand among results, nor behind a link there: it would be lost."""
        folder = self.folder.resolve()
        if self.folder.exists() and not folder.is_dir():
            raise RequestError(f"{printable(str(self.folder))} is no folder: name another one with --into")
        links = [p.resolve() for p in folder.iterdir() if p.is_symlink()] if folder.is_dir() else []
        for file in self.plan.study.files:
            read = Path(file.filename).resolve()
            results = folder in read.parents and (folder / MANIFEST).exists()
            if results or any(link == read or link in read.parents for link in links):
                raise RequestError(
                    f"{printable(file.filename)}, which the study reads, is in {printable(str(self.folder))} "
                    "among results, which are written over: copy it elsewhere, or name another folder"
                )

    def _stale(self, *, all_of_it: bool) -> list[Path]:
        """Files that are not whole; and, of another study, everything that one writes."""
        runs = list((self.folder / RUNS).iterdir())
        if not all_of_it:
            return [path for path in runs if path.name.startswith(PREFIX)]
        beside = [p for p in self.folder.iterdir() if p.name in (WORST, *PICTURES)]
        return [*runs, *beside]

    def _there(self) -> dict[str, Any] | None:
        """The manifest that is there; None for none of ours."""
        try:
            found = json.loads((self.folder / MANIFEST).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        ours = isinstance(found, dict) and isinstance(found.get("program"), dict)
        return found if ours and found["program"].get("name") == "surge" else None

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Surround what writes into the folder: when it takes nothing more, say so, and that it goes on.

        Raises
        ------
        RequestError
        """
        try:
            yield
        except OSError as error:
            raise RequestError(
                f"the results in {printable(str(self.folder))} cannot be written: {error.strerror or error}; "
                "what is written is kept, and the same command goes on"
            ) from None

    def manifest(self) -> dict[str, Any]:
        """Return what the results are of, as plain data."""
        study = self.plan.study
        return {
            "schema_version": 1,
            "program": {"name": "surge", "version": __version__},
            "title": study.title,
            "run": study.run,
            "files": [{"file": Path(f.filename).name, "sha256": f.sha256} for f in study.files],
            "runs": study.runs,
            "line_ups": study.cells,
            "samples": study.samples,
            "runs_in_a_chunk": self.plan.chunk,
        }

    # Chunks

    def path(self, number: int) -> Path:
        """Return where a chunk is kept."""
        first, count = self.plan.span(number)
        return self.folder / RUNS / f"runs-{first:08d}-{first + count - 1:08d}.parquet"

    def has(self, number: int) -> bool:
        """Whether a chunk is there."""
        return self.path(number).is_file()

    def missing(self) -> list[int]:
        """Return the chunks that are not there, in order.

        Raises
        ------
        RequestError
            One that is there is damaged, or not of this study: told before hours of work, and not after.
        """
        pa = arrow()
        for number in self._there_are():
            self._read(number, pa.parquet.read_schema)
        return [number for number in range(self.plan.chunks) if not self.has(number)]

    def _there_are(self) -> Iterator[int]:
        return (number for number in range(self.plan.chunks) if self.has(number))

    def _read(self, number: int, read: Callable[[Path], Any]) -> Any:
        """What is read of a chunk; refuses a file that is damaged, or of another study."""
        path = self.path(number)
        try:
            found = read(path)
        except (arrow().ArrowException, OSError) as error:
            raise RequestError(
                f"{printable(str(path))} cannot be read ({error}): delete it, and run the study again"
            ) from None
        said = getattr(found, "schema", found).metadata or {}
        if said.get(b"surge.fingerprint", b"").decode() != self.fingerprint:
            raise RequestError(
                f"{printable(str(path))} is not of this study: delete it, and run the study again"
            )
        return found

    def write(self, number: int, table: Table) -> None:
        """Write a chunk.

        Raises
        ------
        RequestError
            It cannot be written; nothing is left of it.
        """
        content = self.packed(table)
        with self.writing():
            write_whole(self.path(number), content)

    def write_worst(self, text: str, rules: tuple[str, str] | None) -> None:
        """Write the case of the worst run, with the name and the text of the rules that it names."""
        with self.writing():
            write_whole(self.folder / WORST, text)
            if rules is not None:
                there = self.folder / rules[0]
                there.parent.mkdir(parents=True, exist_ok=True)
                write_whole(there, rules[1])

    def packed(self, table: Table) -> bytes:
        """Return runs as the bytes of a Parquet file."""
        pa = arrow()
        schema = self.schema()
        made = pa.table({name: pa.array(table[name], type=schema.field(name).type) for name in schema.names})
        out = io.BytesIO()
        pa.parquet.write_table(made.cast(schema), out, compression="zstd")
        return out.getvalue()

    def schema(self) -> Any:
        """Return the schema of the files: each column with unit and words, the whole with what made it."""
        pa = arrow()
        fields = [
            pa.field(c.name, _type(pa, c), metadata={"unit": c.unit, "description": c.words})
            for c in columns_of(self.plan.study)
        ]
        mine = self.manifest()
        said = {
            f"surge.{key}": value if isinstance(value, str) else json.dumps(value)
            for key, value in mine.items()
        }
        return pa.schema(fields, metadata=said | {"surge.fingerprint": self.fingerprint})

    @cached_property
    def fingerprint(self) -> str:
        """A hash of the manifest: says which study a file belongs to."""
        return hashlib.sha256(json.dumps(self.manifest(), sort_keys=True).encode()).hexdigest()

    def tables(self, columns: list[str] | None = None) -> Iterator[Any]:
        """Yield the chunks that are there as tables of pyarrow, in their order.

        Raises
        ------
        RequestError
            A file is damaged, or not of this study.
        """
        pa = arrow()
        for number in self._there_are():
            yield self._read(number, lambda path: pa.parquet.read_table(path, columns=columns))


def _type(pa: Any, column: Column) -> Any:
    number, text = pa.float64(), pa.string()
    kinds = {
        "whole": pa.int64(),
        "number": number,
        "text": text,
        "windows": pa.list_(
            pa.struct(
                {
                    "valve": text,
                    "shortest_s": number,
                    "longest_s": number,
                    "looked_at_to_s": number,
                    "open": pa.bool_(),
                }
            )
        ),
        "rates": pa.list_(
            pa.struct(
                {
                    "scenario": text,
                    "agreed_m3_s": number,
                    "greatest_m3_s": number,
                    "looked_at_to_m3_s": number,
                }
            )
        ),
        "strokes": pa.list_(pa.struct({"valve": text, "stroke_s": number})),
    }
    return kinds[column.kind]


def differing(there: dict[str, Any], mine: dict[str, Any]) -> str:
    """Return in which parts two manifests differ, in words."""
    keys = [key for key in mine if there.get(key) != mine[key]]
    if "files" in keys:
        old = {f.get("file"): f.get("sha256") for f in there.get("files", []) if isinstance(f, dict)}
        changed = [f["file"] for f in mine["files"] if old.get(f["file"]) != f["sha256"]]
        return f"{', '.join(changed) or 'its files'} changed since"
    return f"another {', '.join(key.replace('_', ' ') for key in keys)}"

"""Forces along straight legs of pipe as the wave passes, for whoever looks at the supports."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from surge.api.answers import CaseAnswer, Json, Picture, data
from surge.api.check import CheckAnswer, check
from surge.api.inputs import in_case
from surge.arguments import checked
from surge.case.file import Case
from surge.choices import ForcesKind
from surge.errors import RequestError
from surge.reports.words import CAUTIONS
from surge.transient.forces import Forces, LegForce, forces_along, legs_of
from surge.workers import Progress


@dataclass(frozen=True, kw_only=True, eq=False)
class ForcesAnswer(CaseAnswer):
    """Forces along straight legs of a case.

    Attributes
    ----------
    forces : tuple of Forces
        One for each scenario that was looked at.
    found : CheckAnswer
        What a check finds: the runs that the forces belong to, and the verdict.
    """

    forces: tuple[Forces, ...]
    found: CheckAnswer

    @property
    def verdict(self) -> str:
        """Of the whole case, by its pressures and rules: no limit is held against a force."""
        return self.found.verdict

    @property
    def exit_code(self) -> int:
        """That of the check."""
        return self.found.exit_code

    @property
    def worst(self) -> tuple[Forces, LegForce]:
        """The scenario and the leg with the greatest force.

        Raises
        ------
        RequestError
            The case has no pipe, so no straight leg.
        """
        from surge.reports.forces import worst_by_leg

        pairs = worst_by_leg(self.forces)
        if not pairs:
            raise RequestError("the case has no pipe, and so no straight leg to feel a force")
        return pairs[0]

    @checked
    def text(self, *, details: bool = False) -> str:
        """Return the forces in words and as a table; with ``details`` of every scenario and every leg."""
        from surge.reports.forces import forces_lines

        lines = forces_lines(
            self.forces, self.case.lineup, self.display, verdict=self.verdict, details=details
        )
        return self.signed(lines)

    def document(self) -> Json:
        """Return the forces as plain data (``surge schema forces``)."""
        from surge.reports.forces_json import forces_document

        made = forces_document(
            self.forces,
            self.case.lineup,
            self.head,
            verdict=self.verdict,
            exit_code=self.exit_code,
            cautions=CAUTIONS,
        )
        return data(made)

    @checked
    def files(self, kinds: Sequence[ForcesKind]) -> dict[str, bytes]:
        """Return the scenario with the greatest force as files: pictures, and histories as a table (CSV).

        Parameters
        ----------
        kinds : sequence of {"png", "svg", "pdf", "csv"}

        Returns
        -------
        dict of str to bytes
            The whole file for each kind.

        Raises
        ------
        RequestError
            The case has no pipe, so no straight leg.
        """
        from surge.plots.forces import forces_files
        from surge.reports.forces import forces_csv

        one, lineup = self.worst[0], self.case.lineup
        pictures = [kind for kind in kinds if kind != "csv"]
        found = (
            forces_files(one, lineup, self.display, self.signature, verdict=self.verdict, kinds=pictures)
            if pictures
            else {}
        )
        if "csv" in kinds:
            found["csv"] = forces_csv(one, lineup, self.display, self.signature).encode()
        return found

    @checked
    def draw(self, *, kind: ForcesKind = "png") -> Picture:
        """Draw the forces against time in the scenario with the greatest one, or give them as a table."""
        return Picture(content=self.files([kind])[kind], kind=kind)


@checked
def find_forces(
    case: CheckAnswer | Case | str | Path,
    *,
    scenarios: Sequence[str] = (),
    units: Mapping[str, str] | None = None,
    progress: Progress | None = None,
) -> ForcesAnswer:
    """Tell the force along every straight leg of pipe as the wave passes, as ``surge forces`` does.

    Parameters
    ----------
    case : CheckAnswer, Case, str or Path
        What :func:`surge.check` found; or a case, or the path of its file, which is then checked first.
    scenarios : sequence of str
        Those to look at; by default all.
    units : mapping of str to str, optional
        Units of words and pictures, in place of those of the case. Forces are in kN, in documents in N.
    progress : callable, optional
        Called with a word as work goes on; from several threads.

    Returns
    -------
    ForcesAnswer
        ``forces``, by scenario and leg [N], positive from a pipe's start to its end; ``exit_code``, that of
        the check.

    Raises
    ------
    CaseError, GridError, SolveError
        As :func:`surge.check`.
    RequestError
        A scenario that the case does not have.
    ArgumentError
        An argument that is not what it should be.

    Examples
    --------
    A quick release coupling shuts in 5 s. The shore line counts as one straight leg, since the case does not
    say where it turns.

    >>> import surge
    >>> answer = surge.find_forces("cases/gas-oil-release-coupling.toml")
    >>> scenario, force = answer.worst
    >>> scenario.scenario, force.leg.pipe
    ('release at full rate', 'shore line')
    """
    answer = (
        case if isinstance(case, CheckAnswer) else check(case, units=units, remedies=False, progress=progress)
    )
    known = [s.name for s in answer.lineup.scenarios]
    subjects = [answer.subject(name) for name in scenarios or known]
    found = []
    with in_case(answer.case):
        for subject in subjects:
            if progress:
                progress(f'forces in "{subject.scenario.name}"')
            boils = subject.valid_until
            one = forces_along(
                subject.lineup,
                subject.scenario,
                legs_of(subject.lineup),
                dt=subject.run.method.dt,
                until=subject.end if boils is None else min(boils, subject.end),
                boils=boils is not None,
            )
            found.append(replace(one, taken=subject.run.taken))
    return ForcesAnswer(forces=tuple(found), found=answer, case=answer.case, units=answer.units)

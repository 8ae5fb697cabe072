"""An answer as JSON or as text. Computes nothing; rounds only what is shown to a person."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from kgraph.facts import Evidence, Fact
from kgraph.mains import OPENING
from kgraph.names import compared, fold
from kgraph.questions import Answer, Row
from kgraph.render.cautions import SHORT, Whole, block
from kgraph.render.sentences import says
from kgraph.render.terminal import table, visible

if TYPE_CHECKING:
    from kgraph.collection import Collection


def as_json(data: Collection, answer: Answer) -> dict[str, Any]:
    """The object of the contract, section 3."""
    rows, notes = answer.rows[: answer.most], list(answer.notes)
    if len(rows) < len(answer.rows):
        notes.insert(0, left_out(len(answer.rows) - len(rows)))
    out: dict[str, Any] = {
        "question": answer.question,
        "answers": [_row_json(data, answer, row) for row in rows],
        "refused": answer.refused,
        "notes": notes,
    }
    texts = _caution_texts(data, answer, rows)
    if texts:
        out["caution texts"] = texts
    return out


def each_once(names: Iterable[str]) -> list[str]:
    """Each caution once, however it is spelt."""
    once: dict[str, str] = {}
    for name in names:
        once.setdefault(compared(name), name)
    return list(once.values())


def caution_texts(data: Collection, names: Iterable[str]) -> dict[str, str]:
    """Name -> text of cautions: the folder's own, else that of the trade."""
    unknown = "No text is recorded for this caution."
    return {name: data.caution_text(fold(name)) or unknown for name in names}


def cautions_text(data: Collection, names: Iterable[str], terminal: bool) -> str:
    """Every caution in full, each after an empty line."""
    return block(caution_texts(data, names), terminal, whole=True)


def with_opening(names: Iterable[str]) -> list[str]:
    """The cautions of opening a set, then these, each once."""
    once: dict[str, str] = {}
    for name in (*OPENING, *names):
        once.setdefault(fold(name), name)
    return list(once.values())


def _row_json(data: Collection, answer: Answer, row: Row) -> dict[str, Any]:
    out: dict[str, Any] = {}
    if row.assembly:
        out["assembly"] = data.owner_text(row.assembly)
        out["kind"] = assembly_sort(data, row.assembly)
    out["set"] = data.owner_text(row.set)
    if row.position:
        out["position"] = data.text("position", row.position)
    if row.wanted:
        out["for"] = data.text("position", row.wanted)
    if row.position:
        out["part"] = None if row.part is None else data.text("part", row.part)
        out["parts"] = [data.text("part", p) for p in row.parts]
    if row.role:
        out["role"] = row.role
        out["sets"] = [data.owner_text(s) for s in row.sets]
    out["standing"] = row.standing
    out["best"] = row.best
    out["certainty"] = row.certainty
    out["bounds"] = None if row.bounds is None else list(row.bounds)
    out["weighed"] = row.weighed or "best proof"
    out["best proven"] = row.proven
    out["basis"] = list(row.basis)
    out["work"] = list(row.work)
    out["cautions"] = list(row.cautions)
    out["warnings"] = list(row.warnings)
    out["differs"] = list(row.differs)
    out["proof"] = [fact_json(data, f) for f in row.proof]
    if row.units:
        out["units"] = [{"unit": unit, "state": state} for unit, state in row.units]
    if row.proofs:
        out["proofs"] = [[f.id for f in proof] for proof in row.proofs]
        out["all proofs"] = row.all_proofs
    if row.against:
        out["against"] = [fact_json(data, f) for f in row.against]
        out["no"] = row.no
    return out


def assembly_sort(data: Collection, owner: str) -> str | None:
    """The recorded kind of an assembly, or None."""
    return data.assembly_kind(owner[2:])


def fact_json(data: Collection, fact: Fact) -> dict[str, Any]:
    """One fact of a proof."""
    where = fact.where
    return {
        "fact": fact.id,
        "says": says(data, fact),
        "certainty": fact.certainty,
        "file": where.file if where else None,
        "line": where.line if where else None,
        "evidence": [_evidence_json(e) for e in fact.evidence],
    }


def _evidence_json(e: Evidence) -> dict[str, Any]:
    out: dict[str, Any] = {"file": e.where.file, "line": e.where.line, "certainty": e.certainty}
    for key in ("how", "sources", "page", "by", "via", "date", "note", "photos"):
        if value := getattr(e, key):
            out[key.removesuffix("s")] = _one_or_list(value)
    return out if e.trust == 1 else {**out, "trust": e.trust}


def _one_or_list(value: str | tuple[str, ...]) -> str | list[str]:
    """One name or a list of several, as an entry writes it."""
    if isinstance(value, str):
        return value
    return value[0] if len(value) == 1 else list(value)


def percent(value: float) -> str:
    """A certainty as shown to a person: 0.931 is `93 %`, and only a certain one is `100 %`."""
    if value >= 1.0:
        return "100 %"
    return f"{min(value * 100, 99.9):.1f} %" if value > 0.99 else f"{value * 100:.0f} %"


MOST_SHOWN = 30
"""The most answers that are shown where the asker did not say how many."""


def left_out(number: int) -> str:
    """How many answers are not shown, and how to see them."""
    return f"{number} more {'answer is' if number == 1 else 'answers are'} not shown; --most N shows N."


def shown_rows(answer: Answer) -> tuple[tuple[Row, ...], list[str]]:
    """The rows that a person is shown, and for each what is said behind it: how many more the place has.

    Where no place was named, each place has one line, with its best answer.
    """
    if not answer.question.get("by place"):
        return answer.rows[: answer.most or MOST_SHOWN], []
    first: dict[str, Row] = {}
    count: dict[str, int] = {}
    for row in answer.rows:
        first.setdefault(row.wanted, row)
        count[row.wanted] = count.get(row.wanted, 0) + 1
    rows = tuple(first.values())[: answer.most]
    return rows, [f"and {count[r.wanted] - 1} more" if count[r.wanted] > 1 else "" for r in rows]


def as_text(data: Collection, answer: Answer, terminal: bool, proof: bool, whole: Whole = SHORT) -> str:
    """The answer for a person: a table, then (with `proof`) the facts of each row, then the cautions."""
    rows, more = shown_rows(answer)
    head, cells = _HEADS[answer.question["command"]]
    remarks = [remarks_of(r) for r in rows]
    lines = [cells(data, r) for r in rows]
    if more:
        head, lines = (*head, "others"), [[*line, said] for line, said in zip(lines, more, strict=True)]
    out = table(head, lines, terminal, remarks) if rows else ""
    if proof:
        out += "".join(_proof_text(data, row) for row in rows)
    return out + block(_caution_texts(data, answer, rows), terminal, whole.cautions)


def _caution_texts(data: Collection, answer: Answer, rows: Iterable[Row]) -> dict[str, str]:
    """The cautions of the answers that are shown, and of those left out for what must match."""
    return caution_texts(data, (c for r in (*rows, *answer.unlike) for c in r.cautions))


def certainty_text(row: Row) -> str:
    """The certainty of a row as shown to a person."""
    return weighed_text(row.certainty, row.weighed)


def weighed_text(certainty: float, weighed: str) -> str:
    """A certainty as shown to a person; one that was drawn is marked, and one of a single proof."""
    if weighed == "drawn":
        return f"≈ {percent(certainty)}"
    return percent(certainty) if weighed else f"at least {percent(certainty)}"


def remarks_of(row: Row) -> list[str]:
    """What is to be said below a row: work, warnings, cautions, differences."""
    said = [f"your own: {', '.join(f'{u} ({state})' for u, state in row.units)}"] if row.units else []
    said += [f"work: {w}" for w in row.work] + [f"warning: {w}" for w in row.warnings]
    said += [f"cautions: {', '.join(row.cautions)}"] if row.cautions else []
    said += [f"differs: {', '.join(row.differs)}"] if row.differs else []
    return [*said, "by equal size: measure first"] if "size" in row.basis else said


def _taker_cells(data: Collection, row: Row) -> list[str]:
    parts = ", ".join(data.text("part", p) for p in row.parts) or "-"
    place = [data.owner_text(row.set), data.text("position", row.position)]
    return [*place, parts, certainty_text(row), row.standing]


def _donor_cells(data: Collection, row: Row) -> list[str]:
    return [data.text("position", row.wanted), *_taker_cells(data, row)]


def _sister_cells(data: Collection, row: Row) -> list[str]:
    return [data.owner_text(row.set), certainty_text(row), row.standing]


def _share_cells(data: Collection, row: Row) -> list[str]:
    sort = assembly_sort(data, row.assembly) or "-"
    return [data.owner_text(row.assembly), sort, data.owner_text(row.set), certainty_text(row)]


def _part_cells(data: Collection, row: Row) -> list[str]:
    return [data.text("part", row.part or ""), row.role, certainty_text(row), row.standing]


_HEADS = {
    "parts": (("part", "role", "certainty", "standing"), _part_cells),
    "takers": (("set", "position", "parts", "certainty", "standing"), _taker_cells),
    "donors": (("for", "set", "position", "parts", "certainty", "standing"), _donor_cells),
    "sisters": (("set", "certainty", "standing"), _sister_cells),
    "shares": (("assembly", "kind", "set", "certainty"), _share_cells),
}


def _proof_text(data: Collection, row: Row) -> str:
    place = f" at {data.text('position', row.position)}" if row.position else ""
    lines = [f"\n{visible(data.owner_text(row.set) + place)}: {row.standing}, {certainty_text(row)}"]
    lines += fact_lines(data, row.proof)
    if len(row.proofs) > 1:
        count = f"{len(row.proofs)}{'' if row.all_proofs else ' or more'}"
        lines.append(f"  {count} proofs in all; the best one is shown, {percent(row.best)}")
    if row.against:
        lines.append(f"  against it, {percent(row.no)}:")
        lines += fact_lines(data, row.against)
    return "\n".join(lines) + "\n"


def fact_lines(data: Collection, facts: Iterable[Fact]) -> list[str]:
    """The facts of a proof, and below each what else says the same."""
    lines = []
    for fact in facts:
        lines.append(fact_line(data, fact))
        rest = sorted(fact.evidence, key=lambda e: -e.certainty)[1:]
        for e in rest:
            where = f"{e.where.file}:{e.where.line}"
            lines.append(f"          also {percent(e.certainty)} [{visible(_told(e))}] {visible(where)}")
    return lines


def _told(e: Evidence) -> str:
    return ", ".join(v for v in (e.told, e.pictured) if v) or "a number of its own"


def fact_line(data: Collection, fact: Fact) -> str:
    """One fact of a proof on one line: certainty, what it says, how it is known, where it stands."""
    where = f"{fact.where.file}:{fact.where.line}" if fact.where else "by size"
    strongest = max(fact.evidence, key=lambda e: e.certainty, default=None)
    via = _told(strongest) if strongest else "common practice, no source"
    return f"  {percent(fact.certainty):>6}  {visible(says(data, fact))}  [{visible(via)}] {visible(where)}"

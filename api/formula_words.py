"""Formulas as text on a terminal: the sheet, the fit to the scales, a scaling, a comparison."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import click

from api.aligned import Column, say_table
from api.sheets import makes_words
from logger.formula.diff import Diff, LineChange, step_text
from logger.formula.eggs import WholeEggs
from logger.formula.scaling import Scaled
from logger.formula.sheet import Sheet
from logger.plan import Formula, Line
from logger.weighing.fit import Fit


def grams(mass_kg: float | None) -> str:
    """Grams for a table: tenths, and hundredths below one gram; '' for None.

    >>> grams(0.27), grams(0.0045), grams(0.00025), grams(None)
    ('270.0', '4.5', '0.25', '')
    """
    if mass_kg is None:
        return ""
    g = mass_kg * 1e3
    return f"{g:.2f}" if 0 < abs(g) < 0.995 else f"{g:.1f}"


def plus_minus(mass_kg: float | None) -> str:
    """``±`` and grams; '' for None."""
    return "" if mass_kg is None else f"± {grams(mass_kg)}"


def paragraphs(texts: Iterable[str], mark: str = "") -> None:
    """Sentences, each on a line of its own."""
    for text in texts:
        click.echo(f"{mark}{text}")


def heading(formula: Formula) -> None:
    """Name, version, and what it makes."""
    version = f", version {formula.version}" if formula.version else ""
    click.echo(f"{formula.name}{version}")
    if makes := makes_words(formula.makes):
        click.echo(f"Makes {makes}.")


def say_check(formula: Formula, fits: Sequence[Fit], notes: Sequence[str]) -> None:
    """Lines in grams with spread and tolerance, and what the scales can decide."""
    heading(formula)
    click.echo()
    by_key = {one.key: one for one in fits}
    columns = [
        Column("line"),
        Column("as written"),
        Column("g", number=True),
        Column("tolerance", number=True),
        Column("conversion", number=True),
        Column("bowl"),
        Column("decided by"),
    ]
    say_table(
        columns,
        [
            [
                line.key,
                line.amount,
                grams(line.target_kg),
                plus_minus(line.tolerance_kg),
                plus_minus(line.spread_kg),
                line.bowl or "",
                _decided(by_key.get(line.key)),
            ]
            for line in formula.lines
        ],
    )
    _sources(formula.lines)
    # Where no scale is known the sentence is the same for every line.
    told = [
        one.sentence if one.answer == "unknown" else f"{one.key}: {one.sentence}"
        for one in fits
        if one.remedies or one.scale is None
    ]
    if told:
        click.echo()
        paragraphs(dict.fromkeys(told))
    if notes:
        click.echo()
        paragraphs(notes)


def _decided(fit: Fit | None) -> str:
    if fit is None or fit.answer == "no target":
        return ""
    if fit.answer == "unknown":
        return "?"
    return fit.scale or "none here"


def _sources(lines: Sequence[Line]) -> None:
    """Where the weights of household measures come from, each source once."""
    by_source: dict[str, list[str]] = {}
    for line in lines:
        if line.source:
            by_source.setdefault(line.source, []).append(line.key)
    if by_source:
        click.echo()
        click.echo("Weights of measures (± one standard deviation; weigh it and it is gone):")
        paragraphs(f"  {', '.join(keys)}: {source}" for source, keys in by_source.items())


def say_sheet(formula: Formula, sheet: Sheet, fill: str | None) -> None:
    """The whole sheet; `fill` says how full the pans are."""
    heading(formula)
    paragraphs(sheet.problems, "! ")
    click.echo()
    _lines(sheet)
    _sources(formula.lines)
    if sheet.deposit is not None:
        _section("Deposit", [sheet.deposit.sentence, *([fill] if fill else [])])
    _composition(sheet)
    if sheet.balance.family is not None:
        _balance(sheet)
    _section("Allergens", sheet.allergens.sentences)
    _section("Cost", [sheet.cost.sentence])
    if formula.steps:
        _section("Method", [step_text(step) for step in formula.steps])
    _section("Notes", sheet.notes)


def _section(title: str, texts: Sequence[str]) -> None:
    if texts:
        click.echo()
        click.echo(title)
        paragraphs(texts, "  ")


def _lines(sheet: Sheet) -> None:
    rows = [
        [
            line.key,
            line.amount,
            grams(line.mass_kg),
            plus_minus(line.spread_kg),
            _percent(line.percent),
            _percent(line.of_total),
            "" if line.cost is None else f"{line.cost:.2f}",
            line.bowl or "",
        ]
        for line in sheet.lines
    ]
    cost = "" if sheet.cost.known is None else f"{sheet.cost.known:.2f}"
    whole = ["whole", "", grams(sheet.total_kg), "", _percent(sheet.total_percent), "100.0"]
    say_table(
        [
            Column("line"),
            Column("as written"),
            Column("g", number=True),
            Column("conversion", number=True),
            Column("baker's %", number=True),
            Column("% of whole", number=True),
            Column("cost", number=True),
            Column("bowl"),
        ],
        [*rows, [*whole, cost, ""]],
    )


def _percent(value: float | None) -> str:
    return "" if value is None else f"{value:.1f}"


def _composition(sheet: Sheet) -> None:
    click.echo()
    click.echo("Composition")
    say_table(
        [Column("part"), Column("g", number=True), Column("% of whole", number=True), Column("")],
        [
            [
                part.name,
                grams(part.known_kg),
                f"{part.percent:.1f}",
                f"at least: not known of {', '.join(part.unknown)}" if part.unknown else "",
            ]
            for part in sheet.whole.parts
        ],
    )
    said = [text for text in (sheet.whole.sentence, sheet.energy.sentence) if text]
    paragraphs(said, "  ")


def _balance(sheet: Sheet) -> None:
    click.echo()
    click.echo("Balance")
    say_table(
        [Column("ratio"), Column("%", number=True), Column("usual"), Column("")],
        [
            [
                ratio.name,
                "" if ratio.value is None else f"{ratio.value * 100:.1f}",
                "" if ratio.usual is None else ratio.usual.words,
                ratio.stands or "",
            ]
            for ratio in sheet.balance.ratios
        ],
    )
    outside = [ratio.sentence for ratio in sheet.balance.outside]
    flour = sheet.balance.flour_asked
    texts = [
        *outside,
        sheet.balance.leavening.sentence,
        *([] if flour is None else [flour.sentence]),
        *sheet.balance.assumed,
    ]
    paragraphs([text for text in texts if text], "  ")


def say_scaled(scaled: Scaled, eggs: WholeEggs | None) -> None:
    """What was done, what to watch, and the lines before and after."""
    heading(scaled.formula)
    paragraphs(scaled.sentences)
    if eggs is not None:
        other = next(way for way in eggs.ways if way is not eggs.chosen)
        click.echo(f"The other way: {other.sentence[0].lower()}{other.sentence[1:]}")
    paragraphs(scaled.warnings, "! ")
    click.echo()
    say_table(
        [
            Column("line"),
            Column("was"),
            Column("now g", number=True),
            Column("tolerance", number=True),
            Column("as"),
            Column("bowl"),
        ],
        [
            [
                now.key,
                was.amount,
                grams(now.target_kg),
                plus_minus(now.tolerance_kg),
                now.amount if now.by == "count" or now.target_kg is None else "",
                now.bowl or "",
            ]
            for was, now in zip(scaled.was.lines, scaled.formula.lines, strict=True)
        ],
    )


def say_diff(was: Formula, now: Formula, found: Diff) -> None:
    """Changed lines, in grams and in baker's per cent, and what else changed."""
    click.echo(f"{_titled(was)} → {_titled(now)}")
    if found.is_same:
        click.echo("Nothing changed.")
        return
    changed = [line for line in found.lines if line.change != "same"]
    click.echo()
    if changed:
        say_table(
            [
                Column(""),
                Column("line"),
                Column("was g", number=True),
                Column("now g", number=True),
                Column("by g", number=True),
                Column("was %", number=True),
                Column("now %", number=True),
                Column("also"),
            ],
            [_diff_row(line) for line in changed],
        )
        same = len(found.lines) - len(changed)
        if same:
            click.echo(f"  {same} {'line is' if same == 1 else 'lines are'} the same.")
    rows = [
        ["flour", grams(found.flour_kg[0]), grams(found.flour_kg[1])],
        ["whole", grams(found.total_kg[0]), grams(found.total_kg[1])],
    ]
    click.echo()
    say_table([Column(""), Column("was g", number=True), Column("now g", number=True)], rows)
    if found.others:
        click.echo()
        paragraphs(f"{one.name}: {one.was or 'none'} → {one.now or 'none'}" for one in found.others)


def _titled(formula: Formula) -> str:
    return f"{formula.name}, version {formula.version}" if formula.version else formula.name


def _diff_row(line: LineChange) -> list[str]:
    was, now = line.was, line.now
    side = now or was
    assert side is not None
    weighs_the_same = not line.difference_kg
    also = [
        word
        for word in line.what
        if word not in ("mass", "per cent") and (word != "amount" or weighs_the_same)
    ]
    by = "" if not line.difference_kg else f"{line.difference_kg * 1e3:+.1f}"
    return [
        {"added": "+", "removed": "−"}.get(line.change, "~"),
        side.key,
        "" if was is None else grams(was.target_kg),
        "" if now is None else grams(now.target_kg),
        by,
        "" if was is None else _percent(was.percent),
        "" if now is None else _percent(now.percent),
        _also(line, also),
    ]


def _also(line: LineChange, words: Sequence[str]) -> str:
    was, now = line.was, line.now
    if was is None or now is None:
        return ""
    told = {
        "bowl": f"bowl {was.bowl or 'none'} → {now.bowl or 'none'}",
        "tolerance": f"{plus_minus(was.tolerance_kg)} → {plus_minus(now.tolerance_kg)} g",
        "amount": f"{was.amount} → {now.amount}",
        "key": f"key {was.key} → {now.key}",
        "ingredient": f"{was.ingredient} → {now.ingredient}",
    }
    return "; ".join(told.get(word, word) for word in words)

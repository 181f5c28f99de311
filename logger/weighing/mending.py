"""Over-pours and what is done about them: offered, chosen, carried out, and said."""

from __future__ import annotations

from dataclasses import dataclass, replace

from logger.events import Body, Event, WeighingAddition, WeighingRecovery
from logger.formula.pantry import Pantry
from logger.plan import CakePlan, Formula, Plan
from logger.weighing.ledger import Ledger
from logger.weighing.misfit import belonging, elsewhere
from logger.weighing.pieces import Piece
from logger.weighing.recovery import Amount, rescale
from logger.weighing.scales import Scales
from logger.weighing.settling import S
from logger.weighing.speaking import Speaker
from logger.weighing.ways import Elsewhere, Situation, Way, Ways, grams, ways

# A rest's level is still refined a little after it was found, and the verdict must hold then too.
MARGIN = 1.3
AWAY_US = 15 * S  # a bowl that was away for longer may have been to the mixer


@dataclass(slots=True)
class _Matter:
    """One line that went over.

    Attributes:
        offered: names of the ways offered last.
        chosen: the way a person chose; None while open.
        mass_kg: the mass it was said with.
    """

    offered: tuple[str, ...]
    chosen: str | None
    mass_kg: float | None


class Mending:
    """Follows the lines that are over.

    Args:
        plan: its formulas, ingredients and pans.
        ledger: what the lines have.
        scales: by which it is known what lies over what.
        speaker: says the lines that a way back changes.
    """

    def __init__(self, plan: Plan, ledger: Ledger, scales: Scales, speaker: Speaker) -> None:
        self._formulas = plan.formulas
        self._cake = plan.cake
        self._table = Pantry(plan.ingredients)
        self._ledger = ledger
        self._scales = scales
        self._speaker = speaker
        self._matters: dict[int, _Matter] = {}
        self._factors = [1.0] * len(plan.formulas)
        self._cause: dict[int, str] = {}  # what is just being done to lines
        self._over = False  # nothing is weighed any more

    @property
    def taking(self) -> int | None:
        """The line of which a person takes something back, as chosen."""
        chosen = [i for i, m in self._matters.items() if m.chosen == "take back"]
        return chosen[-1] if chosen else None

    # What happens -------------------------------------------------------------------------------

    def heard(self, event: Event, now_us: int) -> list[Body]:
        """A line was said: it is over now, or no more."""
        body = event.body
        if not isinstance(body, WeighingAddition) or body.line is None or self._over:
            return []
        index = self._ledger.index(body.line)
        if index is None:
            return []
        matter = self._matters.get(index)
        cause = self._cause.pop(index, "take back")
        if body.verdict != "over":
            self._matters.pop(index, None)
            if matter is None or matter.chosen in ("leave", "rescale", "reassign"):
                return []
            done = _done(cause, body, matter)
            return [WeighingRecovery(body.line, (done,), done["choice"])]
        if matter is not None and matter.chosen == "leave" and matter.mass_kg == body.mass_kg:
            return []
        keep = "take back" if matter is not None and matter.chosen == "take back" else None
        return self._offer(index, self._ways(index, now_us), keep)

    def refresh(self, now_us: int) -> list[Body]:
        """Say again the open matters whose ways have become others."""
        out: list[Body] = []
        for index, matter in list(self._matters.items()):
            body = self._ledger.slot(index).said
            if matter.chosen not in (None, "take back") or body is None or body.verdict != "over":
                continue
            mixed = self._mixed(index, now_us) is not None
            if mixed == ("take back" in matter.offered):
                out += self._offer(index, self._ways(index, now_us), None)
        return out

    def end(self, now_us: int) -> list[Body]:
        """Nothing is weighed any more: what is open was left as it is."""
        out: list[Body] = []
        for index, matter in list(self._matters.items()):
            if matter.chosen in (None, "take back"):
                out.append(self._leave(index, self._ways(index, now_us)))
        self._over = True
        return out

    # What a person chooses ----------------------------------------------------------------------

    def choose(self, index: int, choice: str | None, now_us: int) -> list[Body]:
        """Do what a person chose; where it is not to be had, say what is."""
        body = self._ledger.body(index)
        if body is None or body.verdict != "over" or self._over:
            return []
        found = self._ways(index, now_us)
        if choice not in {way["choice"] for way in found[0]}:
            return self._offer(index, found, None)
        matter = self._matters.setdefault(index, _Matter((), None, body.mass_kg))
        matter.chosen = choice
        if choice == "leave":
            return [self._leave(index, found)]
        said = self._said(index, found, choice)
        if choice == "rescale":
            return [said, *self._rescale(index)]
        if choice == "reassign":
            other = elsewhere(self._ledger, index, self._scales.blurs)
            assert other is not None
            return [said, *self.reassign(index, other[0])]
        return [said]

    def reassign(self, from_: int, to: int) -> list[Body]:
        """What was poured last to one line was of another: say both again."""
        ledger = self._ledger
        moved = belonging(ledger, from_, to, self._scales.blurs)
        if not moved or from_ == to:
            return []
        self._cause[from_] = "reassign"
        ledger.move(moved, to)
        ledger.slot(from_).left = ledger.slot(to).left = True
        if not ledger.of(from_):
            ledger.reopened.add(from_)
        return [*self._speaker.say(from_), *self._speaker.say(to)]

    def withdraw(self, index: int) -> list[Body]:
        """What was said of a line was a container: nothing is in it, it is open again."""
        self._cause[index] = "container"
        return self._speaker.say(index)

    def _leave(self, index: int, found: Ways) -> WeighingRecovery:
        matter, slot = self._matters[index], self._ledger.slot(index)
        matter.chosen = "leave"
        matter.mass_kg = None if slot.said is None else slot.said.mass_kg
        slot.left = True
        return self._said(index, found, "leave")

    def _rescale(self, index: int) -> list[Body]:
        ledger = self._ledger
        indices = self._of_formula(index)
        amounts = [self._amount(i) for i in indices]
        found = rescale(amounts)
        self._factors[self._number(index)] *= found.factor
        ledger.change(dict(zip(indices, found.lines, strict=True)))
        wanting = {one.line.key for one in found.top_ups}
        out: list[Body] = []
        for i, amount, line in zip(indices, amounts, found.lines, strict=True):
            if line.key in wanting:
                ledger.reopened.add(i)
                if amount.assumed and amount.mass_kg is not None:
                    ledger.slot(i).counted_kg = amount.mass_kg
            if ledger.slot(i).said is not None:
                self._cause[i] = "rescale"
                out += self._speaker.say(i)
        return out

    # What is to be had --------------------------------------------------------------------------

    def _offer(self, index: int, found: Ways, chosen: str | None) -> list[Body]:
        names = tuple(way["choice"] for way in found[0])
        said = self._ledger.slot(index).said
        self._matters[index] = _Matter(names, chosen, None if said is None else said.mass_kg)
        return [self._said(index, found, chosen)]

    def _said(self, index: int, found: Ways, choice: str | None) -> WeighingRecovery:
        line = self._ledger.line(index)
        assert line is not None
        return WeighingRecovery(line.key, found[0], choice, found[1])

    def _ways(self, index: int, now_us: int) -> Ways:
        ledger, number = self._ledger, self._number(index)
        other: Elsewhere | None = None
        if (found := elsewhere(ledger, index, self._scales.blurs)) is not None:
            line = ledger.line(found[0])
            assert line is not None
            other = Elsewhere(line, found[1])
        return ways(
            Situation(
                over=self._amount(index),
                amounts=[self._amount(i) for i in self._of_formula(index)],
                mixed=self._mixed(index, now_us),
                elsewhere=other,
                flour_kind=self._formulas[number].flour_kind,
                whole_factor=self._factors[number],
                cake=self._pans(number),
            ),
            self._table,
        )

    def _amount(self, index: int) -> Amount:
        ledger = self._ledger
        line, slot = ledger.line(index), ledger.slot(index)
        assert line is not None
        if slot.told_kg is not None:
            return Amount(line, slot.told_kg)
        pieces = ledger.of(index)
        blurs = self._scales.blurs
        if not pieces or (slot.said is None and abs(ledger.total_kg(index)) <= blurs.of(pieces)):
            return Amount(line, line.target_kg if slot.confirmed else None, assumed=slot.confirmed)
        if slot.counted_kg:
            return Amount(line, ledger.total_kg(index), assumed=True)
        return Amount(
            line,
            ledger.total_kg(index),
            MARGIN * ledger.budget(index).expanded_kg,
            filling=not slot.left and slot.said is None,
        )

    def _mixed(self, index: int, now_us: int) -> str | None:
        """Why nothing of a line can be taken back; None where it lies on top."""
        ledger = self._ledger
        own = [p for p in ledger.of(index) if p.mass_kg > 0]
        line = ledger.line(index)
        if not own or line is None:
            return "it was not weighed here"
        last = own[-1]
        if (over := self._lying_over(last, index)) is not None:
            return f"{line.ingredient} already has {over} over it"
        bench = self._scales[last.scale].bench
        away_us = bench.longest_absence_us(last.ended_us - S, now_us)
        if away_us >= AWAY_US:
            return f"the bowl was away for {away_us // S} s since and may be mixed"
        return None

    def _lying_over(self, last: Piece, index: int) -> str | None:
        ledger = self._ledger
        after = ledger.pieces[ledger.pieces.index(last) + 1 :]
        for piece in after:
            same = piece.scale == last.scale and piece.container == last.container
            if same and piece.line not in (None, index) and not piece.is_trifle:
                assert piece.line is not None
                other = ledger.line(piece.line)
                return other.ingredient if other is not None else None
        return None

    def _number(self, index: int) -> int:
        """Number of the formula that a line is of."""
        for number, formula in enumerate(self._formulas):
            if index < len(formula.lines):
                return number
            index -= len(formula.lines)
        raise IndexError(index)

    def _of_formula(self, index: int) -> list[int]:
        """Lines of the formula that a line is of."""
        number = self._number(index)
        first = sum(len(formula.lines) for formula in self._formulas[:number])
        return list(range(first, first + len(self._formulas[number].lines)))

    def _pans(self, number: int) -> CakePlan | None:
        """The pans that a formula fills: the plan's for the first, else what it says it makes."""
        formula: Formula = self._formulas[number]
        if number == 0 and self._cake.pan is not None:
            kg = self._cake.batter_kg or formula.makes.batter_per_pan_kg
            return replace(self._cake, batter_kg=kg)
        makes = formula.makes
        if makes.pan is None:
            return None
        return CakePlan(batter_kg=makes.batter_per_pan_kg, pan=makes.pan, kind=self._cake.kind)


def _done(cause: str, body: WeighingAddition, matter: _Matter) -> Way:
    """What ended a matter that nobody chose a way for, or of which something was taken back."""
    if cause == "container":
        return {"choice": "container", "text": "It was a container."}
    if cause != "take back" or matter.mass_kg is None or body.mass_kg is None:
        text = {"rescale": "The rescale brought it back.", "reassign": "It was of another line."}
        return {"choice": cause, "text": text.get(cause, "It is no longer over.")}
    taken_kg = matter.mass_kg - body.mass_kg
    return {
        "choice": cause,
        "text": f"{grams(taken_kg)} of it were taken back.",
        "take_kg": round(taken_kg, 9),
    }

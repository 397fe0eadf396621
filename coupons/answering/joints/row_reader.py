"""One row of a list of joints: its cells read one by one, with every problem of the row."""

import unicodedata
from dataclasses import replace

from coupons.answering.chances.bed import odd_bed
from coupons.answering.chances.contact_length import LONGEST_MM, SHORTEST_MM, odd_contact
from coupons.answering.chances.costs import odd_costs
from coupons.answering.chances.pairs import odd_pair
from coupons.answering.chances.pieces import MOST_CHOICES, odd_choices
from coupons.answering.chances.slants import odd_slant
from coupons.answering.joints.list_columns import COLUMNS, UNIT_COLUMNS
from coupons.answering.joints.list_sides import LONGEST_PRINT, Makers, is_print
from coupons.answering.joints.listed import ListedJoint
from coupons.answering.joints.several_cells import (
    kind_in,
    read_several,
    refuse_columns_of_several,
)
from coupons.answering.lengths import length_mm
from coupons.answering.question import LARGEST_MM, SMALLEST_MM
from coupons.answering.several.kinds import JointKind
from coupons.answering.standards.hardware import Hardware, hardware, two_holes
from coupons.answering.strength.quantities import parse_share
from coupons.answering.typed_words import Sides, joint_with, read_across
from coupons.errors import AnswerError, CouponError, Problem, ProfileError
from coupons.learning.profile import Profile
from coupons.measuring.run.entries import near_miss, parse_number
from coupons.measuring.run.spreadsheet import Cells
from coupons.terms import (
    EXTERNAL,
    FITS,
    FLAT,
    INTERNAL,
    Bed,
    Direction,
    Form,
    Grade,
    MovingBody,
)

_LONGEST_NAME = 60
# What may stand in a name beside letters and digits. None of them begins a formula where a name may
# begin with it, steers a terminal or is markup.
_OPENING = "([{#⌀"
_SIGNS = _OPENING + ")]} .,:-–_/&'’+×°%*@!?"


class RowReader:
    """Reads one row and collects its problems."""

    def __init__(self, file: str, row: Cells, makers: Makers) -> None:
        self.makers = makers
        self.where = f"{file} row {row.number}"
        self.number = row.number
        self.cells = {column: row.named.get(column, "") for column in COLUMNS}
        self.units = [row.others.get(column, "") for column in UNIT_COLUMNS]
        self.problems: list[Problem] = []

    def joint(self) -> ListedJoint | None:
        """Return the joint, or None if the row has problems that prevent it."""
        if self._has_formula():
            return None
        self._refuse_other_units()
        name = self._name()
        piece = self._hardware()
        kind = kind_in(self.cells)
        if kind is not None:
            return self._several(name, kind, piece)
        refuse_columns_of_several(self.cells, self._refuse)
        internal = self._form("internal", INTERNAL, piece)
        external = self._form("external", EXTERNAL, piece)
        self._refuse_odd_pair(internal, external)
        size_mm = self._size(piece)
        slant_deg = self._slant(piece)
        across = self._across(piece, internal, slant_deg)
        fit, gap_mm = self._fit(piece)
        self._refuse_wide_gap(gap_mm, size_mm)
        move = self._move(piece)
        at_least = self._at_least()
        bed = self._bed(internal, external, across, piece)
        contact_mm = self._contact()
        sides = self._sides(piece)
        gap_is_set = at_least is not None or gap_mm is not None
        choices = self._choices(fit, move, gap_is_set=gap_is_set)
        costs = self._loose_costs(fit, gap_is_set=gap_is_set)
        if internal is None or external is None or size_mm is None or across is None:
            return None
        joint = joint_with(internal, external, size_mm, across, slant_deg)
        if odd := odd_slant(joint):
            self._refuse("a slant that the bodies can have", self.cells["slant_deg"], odd)
        asked = fit, gap_mm, move, piece, at_least, bed, contact_mm
        listed = ListedJoint(self.number, name, joint, *asked, *sides)
        return replace(listed, choices=choices, loose_costs=costs)

    def _refuse(self, expected: str, got: str, todo: str) -> None:
        shown = repr(got[:60]) if got else "nothing"
        self.problems.append(Problem(self.where, expected, shown, todo))

    def _has_formula(self) -> bool:
        formulas = [cell for cell in self.cells.values() if cell.startswith("=")]
        for cell in formulas:
            self._refuse("text or a number", cell, "Type the value instead of the formula")
        return bool(formulas)

    def _refuse_other_units(self) -> None:
        for unit in self.units:
            if unit.lower() not in ("", "mm"):
                self._refuse("unit mm", unit, "Write all sizes and gaps in mm")

    def _name(self) -> str:
        name = unicodedata.normalize("NFC", self.cells["name"])
        if not _is_name(name):
            todo = (
                f"Use up to {_LONGEST_NAME} letters, digits, brackets and signs such as . - _ / &, "
                "beginning with a letter, a digit or a bracket: a spreadsheet takes a cell that "
                "begins with = + - or @ for a formula"
            )
            self._refuse("a name", name, todo)
        return name

    def _hardware(self) -> Hardware | None:
        if not self.cells["hardware"]:
            return None
        try:
            return hardware(self.cells["hardware"])
        except CouponError as error:
            self.problems += [
                Problem(self.where, p.expected, p.got, p.todo) for p in error.problems
            ]
            return None

    def _form(self, side: str, forms: frozenset[Form], piece: Hardware | None) -> Form | None:
        text = self.cells[side].lower()
        if piece is not None:
            implied = next(form for form in piece.forms if form in forms)
            if text not in ("", implied):
                self._refuse(f"{implied} as {side} with {piece.name}", text, "Correct one of them")
            return implied
        known = sorted(forms)
        if text not in known:
            if not self.cells["hardware"]:  # unreadable hardware has its own problem
                self._refuse(f"{side} {' or '.join(known)}", text, near_miss(text, known, ""))
            return None
        return Form(text)

    def _refuse_odd_pair(self, internal: Form | None, external: Form | None) -> None:
        if internal and external and (wrong := odd_pair(internal, external)):
            pairs = "a hole with a pin, or a slot with a tongue"
            self._refuse(pairs, f"{internal} with {external}", wrong)

    def _size(self, piece: Hardware | None) -> float | None:
        text = self.cells["size_mm"]
        if not text and self.cells["hardware"]:  # which says its size, if it can be read
            return None if piece is None else piece.nominal_mm
        size_mm = length_mm(text)
        if size_mm is None or not SMALLEST_MM <= size_mm <= LARGEST_MM:
            todo = "Write the size in mm, such as 12.5"
            self._refuse(f"size_mm from {SMALLEST_MM:g} to {LARGEST_MM:g}", text, todo)
            return None
        if piece is not None and abs(size_mm - piece.nominal_mm) > 1e-6:
            self._refuse(f"{piece.nominal_mm:g}, the size of {piece.name}", text, "Leave it blank")
        return size_mm

    def _several(self, name: str, kind: JointKind, piece: Hardware | None) -> ListedJoint | None:
        """Return a joint of several pairs of faces."""
        for column in ("choices", "loose_costs"):
            if self.cells[column] not in ("", "1"):
                todo = "It belongs to joints of one pair of faces: leave it blank"
                self._refuse(f"nothing in {column}", self.cells[column], todo)
        move, at_least, bed = self._move(piece), self._at_least(), self._bed_word()
        sides = self._sides(None)
        several = read_several(
            kind,
            self.cells,
            piece,
            self._refuse,
            move=move,
            at_least=at_least,
            bed=bed,
            internal_profile=sides[0],
            external_profile=sides[1],
            two_prints=sides[2] != sides[3],
        )
        if several is None:
            return None
        asked = several.fit, None, move, piece, at_least, bed, None
        return ListedJoint(
            self.number, name, several.pairs[0].joint, *asked, *sides, several=several
        )

    def _slant(self, piece: Hardware | None) -> float | None:
        text = self.cells["slant_deg"]
        if not text:
            return None
        slant_deg = parse_number(text)
        if slant_deg is None:
            self._refuse("slant_deg in degrees", text, "Such as 30")
        elif piece is not None:
            self._refuse("nothing in slant_deg with hardware", text, "Hardware does not lean")
        return slant_deg

    def _across(
        self, piece: Hardware | None, internal: Form | None, slant_deg: float | None
    ) -> Sides | None:
        """Return the directions of the internal and of the external body."""
        text = self.cells["across"].lower()
        flat = internal in FLAT and slant_deg is not None
        axes = ("across", "along the pull") if flat else ("across",)
        try:
            inner, outer = read_across(text, axes)
        except AnswerError as error:
            if flat:
                self._refuse("across and pull, such as xz", text, error.message)
                return None
            todo = (
                "Write the printer axis across the faces; for a round joint, along its axis; "
                "internal/external, such as z/x, where the bodies are printed lying unlike"
            )
            self._refuse(f"across {', '.join(Direction)}", text, todo)
            return None
        if piece is not None and outer != inner:
            todo = f"Only the {piece.move} body is printed: write how it lies"
            self._refuse(f"one direction with {piece.name}", text, todo)
        return inner, outer

    def _sides(self, piece: Hardware | None) -> tuple[Profile | None, Profile | None, str, str]:
        """Return the profile and the print of each body, where they are said."""
        bought = piece and ("internal" if piece.move is MovingBody.EXTERNAL else "external")
        for column in (f"{bought}_profile", f"{bought}_print") if bought else ():
            if self.cells[column]:
                expected = f"nothing in {column} with hardware"
                self._refuse(expected, self.cells[column], "Hardware comes from no printer")
        return (
            self._maker("internal_profile"),
            self._maker("external_profile"),
            self._print("internal_print"),
            self._print("external_print"),
        )

    def _maker(self, column: str) -> Profile | None:
        if not self.cells[column]:
            return None
        try:
            return self.makers.read(self.cells[column])
        except ProfileError as error:
            self.problems += [
                Problem(f"{self.where} {column}", p.expected, p.got, p.todo) for p in error.problems
            ]
            return None

    def _print(self, column: str) -> str:
        text = self.cells[column]
        if not is_print(text):
            todo = "Use a word or two, such as plate 1, the same for all bodies of one print"
            self._refuse(f"{column} of up to {LONGEST_PRINT} signs", text, todo)
            return ""
        return text

    def _fit(self, piece: Hardware | None) -> tuple[Grade | None, float | None]:
        text = self.cells["fit"].lower()
        series = piece and text and two_holes(piece, f"fit {text}")
        if series:
            self.problems.append(replace(series, where=self.where))
            return None, None
        if text in FITS:
            return Grade(text), None
        gap_mm = length_mm(text.removeprefix("gap"))
        if gap_mm is not None:
            return None, gap_mm
        unread = piece is None and bool(self.cells["hardware"])  # perhaps with a standard hole
        if not text and (unread or (piece is not None and piece.printed is not None)):
            return None, None
        words = f"fit {', '.join(FITS)} or a printed gap in mm"
        self._refuse(words, text, near_miss(text, FITS, "Such as slide, or gap 0.2"))
        return None, None

    def _refuse_wide_gap(self, gap_mm: float | None, size_mm: float | None) -> None:
        if gap_mm is not None and size_mm is not None and abs(gap_mm) >= size_mm / 2:
            self._refuse("a gap under half of the size", self.cells["fit"], "Check both numbers")

    def _move(self, piece: Hardware | None) -> MovingBody:
        text = self.cells["move"].lower()
        if piece is not None:
            if text not in ("", piece.move):
                expected = f"move {piece.move}, the printed body with {piece.name}"
                self._refuse(expected, text, "Leave it blank")
            return piece.move
        if text and text not in tuple(MovingBody):
            bodies = tuple(MovingBody)
            self._refuse(f"move {', '.join(bodies)}", text, near_miss(text, bodies, ""))
            return MovingBody.EXTERNAL
        return MovingBody(text or MovingBody.EXTERNAL)

    def _bed(
        self,
        internal: Form | None,
        external: Form | None,
        across: Sides | None,
        piece: Hardware | None,
    ) -> Bed | None:
        bed = self._bed_word()
        if bed is None:
            return None
        of_piece = piece and piece.form
        printed = [
            (form, lies[0])
            for form, lies in zip((internal, external), across or (), strict=False)
            if form and form is not of_piece
        ]
        if printed and (odd := odd_bed(printed, bed)):
            self._refuse("a body that can stand on the bed", bed, odd)
            return None
        return bed

    def _bed_word(self) -> Bed | None:
        text = self.cells["bed"].lower()
        if not text:
            return None
        if text not in tuple(Bed):
            self._refuse(f"bed {', '.join(Bed)}", text, near_miss(text, tuple(Bed), ""))
            return None
        return Bed(text)

    def _contact(self) -> float | None:
        text = self.cells["contact_mm"]
        if not text:
            return None
        mm = length_mm(text)
        if mm is None or odd_contact(mm):
            todo = "Write the longer of depth of engagement and width in mm, or leave it blank"
            expected = f"contact_mm from {SHORTEST_MM:g} to {LONGEST_MM:g}"
            self._refuse(expected, text, todo)
            return None
        return mm

    def _choices(self, fit: Grade | None, move: MovingBody, *, gap_is_set: bool) -> int:
        text = self.cells["choices"]
        count = parse_number(text) if text else 1.0
        if count is None or not count.is_integer():  # nor are inf and nan
            todo = "Write how many to print, such as 3, or leave it blank for one"
            self._refuse(f"choices 1 to {MOST_CHOICES}", text, todo)
            return 1
        if self._fit_is_unread(fit, gap_is_set):
            return 1
        odd = odd_choices(int(count), move, fit, gap_is_set=gap_is_set)
        if odd:
            self._refuse("pieces to choose from that a joint can have", f"choices {text}", odd)
        return int(count)

    def _loose_costs(self, fit: Grade | None, *, gap_is_set: bool) -> float:
        text = self.cells["loose_costs"]
        cost = parse_number(text) if text else 1.0
        if cost is None:
            todo = "Write it as a number such as 3, or leave it blank for equal costs"
            self._refuse("what too loose costs, too tight being 1", text, todo)
            return 1.0
        if self._fit_is_unread(fit, gap_is_set):
            return 1.0
        odd = odd_costs(cost, fit, gap_is_set=gap_is_set)
        if odd:
            self._refuse("a cost that can choose a gap", f"loose_costs {text}", odd)
        return cost

    def _fit_is_unread(self, fit: Grade | None, gap_is_set: bool) -> bool:
        """Tell whether the fit has a problem of its own."""
        return fit is None and bool(self.cells["fit"]) and not gap_is_set

    def _at_least(self) -> float | None:
        text = self.cells["at_least"]
        if not text:
            return None
        if self.cells["fit"].lower() not in FITS:
            todo = "A chance needs a fit such as slide: write one, or leave at_least blank"
            self._refuse("nothing in at_least without a fit", text, todo)
            return None
        chance = parse_share(text)
        if chance is None or not 0 < chance < 1:
            self._refuse("at_least between 0 and 1", text, "Write it as 0.95 or 95 %")
            return None
        return chance


def _is_name(text: str) -> bool:
    """Tell whether a text can name a joint: as people type it, but no formula or markup."""
    return (
        0 < len(text) <= _LONGEST_NAME
        and (text[0].isalnum() or text[0] in _OPENING)
        and any(sign.isalnum() for sign in text)
        and all(sign in _SIGNS or unicodedata.category(sign)[0] in "LMN" for sign in text)
    )

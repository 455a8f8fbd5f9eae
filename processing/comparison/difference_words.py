"""What one says of a difference, measurand by measurand; the order is that of the sentences."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Phrase:
    """Sentences for more and for less in the second keyboard.

    They may hold {first} {second}: what the keyboards are called; {amount}: the difference; {a_key} {A_key}: "a
    natural", or a key's name; {one}: the first keyboard's; {keys}: several, or the name; {where}: the region, with a
    blank before it, empty after a name; {at_first} {at_second}: the means; {placed_first} {placed_second}: the same,
    before or after.
    """

    name: str
    caption: str
    more: str
    less: str
    word_for_more: str
    word_for_less: str
    """What a bare amount is: "more", "earlier", "deeper"."""

    def sentence(self, value: float) -> str:
        """Return the sentence for a difference of this sign."""
        return self.more if value > 0.0 else self.less

    def word(self, value: float) -> str:
        """Return the word for a difference of this sign."""
        return self.word_for_more if value > 0.0 else self.word_for_less


def _both(name: str, caption: str, words: str, more: str, less: str) -> Phrase:
    said, said_of_less = (words.replace("MORE", word) for word in (more, less))
    return Phrase(name, caption, said, said_of_less, more.rstrip(","), less.rstrip(","))


WEIGHT = "{second} needs {amount} MORE than {first} to"

PHRASES = (
    _both("down_weight", "Down weight", WEIGHT + " sink {a_key}{where}", "more", "less"),
    _both("up_weight", "Up weight", "{A_key} of {second} comes back with {amount} MORE than {one} of {first}{where}",
          "more", "less"),
    _both("friction", "Friction", "{A_key} of {second} has {amount} MORE friction than {one} of {first}{where}",
          "more", "less"),
    _both("balance_weight", "Balance weight", "{A_key} of {second} is balanced {amount} MORE than {one} of {first}"
          "{where}", "heavier", "lighter"),
    _both("breakaway", "Break-away", WEIGHT + " get {a_key} going from rest{where}", "more", "less"),
    _both("key_dip", "Key dip", "{A_key} of {second} goes {amount} MORE than {one} of {first}{where}",
          "deeper", "less deep"),
    _both("aftertouch", "Aftertouch", "Behind the notch {a_key} of {second} goes {amount} MORE than {one} of {first}"
          "{where}", "further", "less far"),
    _both("letoff_peak_position", "Let-off, place", "The let-off of {second} comes {amount} MORE than that of {first} "
          "on {keys}{where}", "later", "earlier"),
    _both("letoff_peak_force", "Let-off, force at the peak", WEIGHT + " pass the notch of {a_key}{where}",
          "more", "less"),
    _both("letoff_drop", "Let-off, drop", "The force falls by {amount} MORE behind the notch of {second} than of "
          "{first} on {keys}{where}", "more", "less"),
    _both("letoff_slope", "Let-off, steepest fall", "The let-off of {second} is MORE than that of {first} on {keys}"
          "{where}: its steepest fall is {at_second} against {at_first}, {amount} MORE", "crisper", "softer"),
    _both("letoff_work", "Let-off, work", "The notch of {second} takes {amount} MORE work than that of {first} on "
          "{keys}{where}", "more", "less"),
    _both("weight_to_letoff", "Weight to the notch", WEIGHT + " sink {a_key} to the notch{where}", "more", "less"),
    _both("weight_to_note", "Weight to the note", WEIGHT + " make {a_key} sound{where}", "more", "less"),
    _both("lift_weight", "Lift weight", "{A_key} of {second} lifts {amount} MORE all the way home than {one} of {first}"
          "{where}", "more", "less"),
    _both("damper_step", "Damper step", "The damper of {second} adds {amount} MORE than that of {first} on {keys}"
          "{where}", "more", "less"),
    _both("damper_position", "Damper, place", "The damper of {second} is picked up {amount} MORE than that of {first} "
          "on {keys}{where}", "later", "earlier"),
    _both("trigger_position", "Note starts", "The note of {second} starts {amount} MORE than that of {first} on {keys}"
          "{where}", "deeper", "higher"),
    _both("trigger_margin", "Note after the notch by", "Seen from the notch the note of {second} comes {amount} MORE "
          "than that of {first} on {keys}{where}: {placed_second} the notch against {placed_first} it",
          "later", "earlier"),
    _both("release_position", "Note stops", "On the way up the note of {second} stops {amount} MORE than that of "
          "{first} on {keys}{where}", "deeper, so sooner,", "higher, so later,"),
    _both("press_work", "Work of the press", "Pressing {a_key} of {second} takes {amount} MORE work than {one} of "
          "{first}{where}", "more", "less"),
    _both("loop_work", "Work lost", "{A_key} of {second} loses {amount} MORE work a stroke than {one} of {first}"
          "{where}", "more", "less"),
)  # fmt: skip
"""Every measurand that is asked for (`compare.py`) and known without a ladder of speeds."""

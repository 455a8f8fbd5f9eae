"""What `keyplumb measure --whole-grams` prints: the weight test, as a person who lays weights would read it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from processing.keyboard import KeyboardResult

COLUMNS = (("weight_to_letoff", "to the notch"), ("weight_to_note", "to sound"), ("lift_weight", "lifts"))


def tell_weight_test(result: KeyboardResult) -> None:
    """Print a row a key in whole grams, then a sentence for each key whose notch decides the reading."""
    from processing.calibration_status import calibration_sentence
    from processing.display import Units
    from processing.verdicts import notch_sentence, whole_grams

    print("The weight test, in whole grams: the smallest weight that sinks the key, the largest that it lifts.")
    print(calibration_sentence(result.header))
    print(f"{'key':5}" + "".join(f"{head:>14}" for _, head in COLUMNS))
    for key in result.keys:
        grams = (whole_grams(key[name]) for name, _ in COLUMNS)
        print(f"{key.key.name:5}" + "".join(f"{'-' if weight is None else weight:>14}" for weight in grams))
    for key in result.keys:
        if sentence := notch_sentence(key, Units(), in_whole_grams=True):
            print(sentence)

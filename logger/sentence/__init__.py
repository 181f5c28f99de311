"""The sentence: the one next thing in plain words, with its number and what comes after.

Every state of a batch has its sentence, written here and nowhere else; the page, speech and
notifications say the same one.
"""

from logger.sentence.parts import Measure, Number, Sentence
from logger.sentence.states import no_batch, sentence
from logger.sentence.weighing import scale_words, verdict_words
from logger.sentence.wording import clock, grams, lasting, zone

__all__ = [
    "Measure",
    "Number",
    "Sentence",
    "clock",
    "grams",
    "lasting",
    "no_batch",
    "scale_words",
    "sentence",
    "verdict_words",
    "zone",
]

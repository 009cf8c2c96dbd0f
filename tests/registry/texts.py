"""Random texts for whatever reads text: seeded, from alphabets that lie near to and far from what is read."""

import random
from collections.abc import Iterator

ALPHABETS = (
    "0123456789",
    "0123456789.,+-eE ",
    "0123456789.,−– '_\u00a0\u2009\u202f",
    "0123456789 VAWFHmkunpµμΩΩ",
    "0123456789.,/ ohmuHFnpftkmdegCKW²°2",
    "\x00\x01\t\n\r\x1b\x7f\x85\u200b\u200e\u202e\u2066\ufeff0123456789 nF",
    "٠١٢٣٤٥٦٧٨٩０１２３①½Ⅷ² VΩ",
    'abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ*()[]{}<>=%$#@!?:;"\\|~^&',
    "Ex iabcdIIABCT123456789GaDbMc[]()°≤+-.,/",
    "ﬁﬀßſKİı𝟏😀漢字עברית\ud800",
)
WORDS = ("nF", "uF", "µF", "mH", "uH/ohm", "ohm/km", "pF/ft", " V", " mA", "W", "°C", "degF", "K/W", "mm²")
WORDS += ("1e", "e9", "nan", "inf", "0x", "**", "not stated")
WORDS += ("II 2 G", "Ex ia", "IIC", "T4", "Ga", "ATEX", "IECEx", " X", "CL I", "DIV 1", "GP A, B")


def random_texts(count: int, seed: int, longest: int = 70) -> Iterator[str]:
    """``count`` texts of up to ``longest`` characters, mostly near-misses and some rubbish."""
    chance = random.Random(seed)
    everything = "".join(ALPHABETS)
    for _ in range(count):
        alphabet = chance.choice((*ALPHABETS, everything))
        text = "".join(chance.choices(alphabet, k=chance.randrange(0, chance.choice((4, 8, 16, longest)))))
        for _ in range(chance.choice((0, 0, 1, 1, 2))):
            place = chance.randrange(len(text) + 1)
            text = text[:place] + chance.choice(WORDS) + text[place:]
        yield text[:longest]

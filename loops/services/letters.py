"""Revision letters of issued sheets."""

ALPHABET = "ABCDEFGHJKLMNPQRSTUVWXYZ"


def letter_after(letter: str) -> str:
    """The revision letter after one: A, B … H, J … N, P … Z, AA. I and O are left out, they read as digits.

    Common practice, no source.

    >>> letter_after("A"), letter_after("H"), letter_after("Z"), letter_after("AZ")
    ('B', 'J', 'AA', 'BA')
    """
    number = 0
    for character in letter:
        number = number * len(ALPHABET) + ALPHABET.index(character) + 1
    number += 1
    text = ""
    while number:
        number, digit = divmod(number - 1, len(ALPHABET))
        text = ALPHABET[digit] + text
    return text

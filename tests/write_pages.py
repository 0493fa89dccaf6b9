"""Writes anew the small pictures of letters that their pages are compared with: look at them."""

from tests.letters.test_letters_look import KEPT, PICTURES, pages_of, side_by_side


def main() -> None:
    PICTURES.mkdir(exist_ok=True)
    for kind, code in KEPT:
        side_by_side(pages_of(kind, code)).save(PICTURES / f"{kind}-{code}.png", optimize=True)


if __name__ == "__main__":
    main()

"""The structure trees of many tagged PDFs become one, so that a bound document is read aloud as its parts are.

ISO 32000-1:2008, 14.7: each part's tree hangs below one Document as a Part; what leads from the content of a page back
to its elements (the parent tree, 14.7.4.4) goes by numbers, which are counted on from part to part. Marks within the
content of a page count for that page alone and stay as they are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import pikepdf
from pikepdf import Array, Dictionary, Name, Object, Pdf


class Structure:
    """The structure tree of a document that is being bound; `is_whole` while every part brought one."""

    def __init__(self, whole: Pdf) -> None:
        self.whole = whole
        self.is_whole = True
        self.root = whole.make_indirect(Dictionary(Type=Name.StructTreeRoot))
        self.document = whole.make_indirect(Dictionary(Type=Name.StructElem, S=Name.Document, P=self.root, K=Array()))
        self.numbers: list[tuple[int, Object]] = []
        self.next = 0

    def add(self, title: str, source: Pdf, pages: Sequence[pikepdf.Page]) -> None:
        """Take over the tree of a part, whose pages were added to the whole just before.

        Elements name the pages on which they stand; those names lead to the pages as they were added.
        """
        tree = source.Root.get("/StructTreeRoot")
        if tree is None or any(name in tree for name in ("/RoleMap", "/ClassMap", "/IDTree")):
            # A part that is not tagged, or names its elements in words of its own that might not be those of another.
            self.is_whole = False
            return
        copied = self.whole.copy_foreign(tree)
        part = self.whole.make_indirect(Dictionary(Type=Name.StructElem, S=Name.Part, T=title, P=self.document))
        part.K = Array(list(elements(copied.K)))
        for element in part.K:
            element.P = part
            if Name.Document == element.S:
                element.S = Name.Sect
        self.document.K.append(part)
        start = self.next
        for number, value in numbered(copied.ParentTree):
            self.numbers.append((start + number, value))
            self.next = max(self.next, start + number + 1)
        for page in pages:
            for row, name in ((page.obj, "/StructParents"), *((one, "/StructParent") for one in laid_over(page))):
                if name in row:
                    row[name] = start + int(row[name])

    def write(self) -> None:
        """Put the tree into the document, which is then said to be tagged; nothing where a part was not."""
        if not self.is_whole:
            return
        self.root.K = Array([self.document])
        numbers = Array()
        for number, value in self.numbers:
            numbers.append(number)
            numbers.append(value)
        self.root.ParentTree = self.whole.make_indirect(Dictionary(Nums=numbers))
        self.root.ParentTreeNextKey = self.next
        self.whole.Root.StructTreeRoot = self.root
        self.whole.Root.MarkInfo = Dictionary(Marked=True)


def elements(kids: Object) -> Iterator[Object]:
    """The elements right below a tree or element: one, or several."""
    if isinstance(kids, Array):
        yield from kids
    else:
        yield kids


def numbered(tree: Object) -> Iterator[tuple[int, Object]]:
    """The entries of a number tree (ISO 32000-1:2008, 7.9.7)."""
    pairs = list(tree.get("/Nums", Array()))
    for index in range(0, len(pairs), 2):
        yield int(pairs[index]), pairs[index + 1]
    for kid in tree.get("/Kids", Array()):
        yield from numbered(kid)


def laid_over(page: pikepdf.Page) -> Iterator[Object]:
    """What is laid over a page: links."""
    yield from page.obj.get("/Annots", Array())

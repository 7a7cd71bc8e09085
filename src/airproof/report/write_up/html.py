"""The write-up as one page of HTML: nothing is fetched, no script, readable on a phone, in the dark and on paper."""

from __future__ import annotations

import base64
import html
from importlib import resources

from airproof.report.language.language import Words
from airproof.report.whole_file import MARK
from airproof.report.write_up.content import Block, Bullets, Figure, Paragraph, Section, Table, WriteUp


def as_html(write_up: WriteUp) -> str:
    """The whole page."""
    style = (resources.files("airproof.report.write_up") / "data" / "write_up.css").read_text(encoding="utf-8")
    page = _Page(write_up)
    facts = "".join(
        f"<div><dt>{page.text(name)}</dt><dd>{page.text(value)}</dd></div>" for name, value in write_up.facts
    )
    owner = "\n".join(page.section(one, 2) for one in write_up.owner)
    trade = "\n".join(page.section(one, 3) for one in write_up.trade)
    if trade:
        heading = f"<h2>{page.text(write_up.trade_title)}</h2>"
        trade = f'<section id="trade" class="trade">\n{heading}\n{trade}\n</section>'
    return f"""<!doctype html>
<html lang="{write_up.language}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
{MARK}
<title>{html.escape(write_up.title.text)}</title>
<style>
{style}</style>
</head>
<body>
<header>
<h1>{page.text(write_up.title)}</h1>
<dl class="facts">{facts}</dl>
</header>
<main>
{owner}
{trade}
</main>
<footer><p>{page.text(write_up.foot)}</p></footer>
</body>
</html>
"""


class _Page:
    """Writes the parts of one page; a text in another language than the page's says so."""

    def __init__(self, write_up: WriteUp) -> None:
        self._language = write_up.language
        self._labels = write_up.labels

    def text(self, words: Words) -> str:
        said = html.escape(words.text, quote=False)
        if words.language == self._language or not words.text:
            return said
        return f'<span lang="{words.language}">{said}</span>'

    def section(self, section: Section, level: int) -> str:
        blocks = "\n".join(map(self._block, section.blocks))
        heading = f"<h{level}>{self.text(section.heading)}</h{level}>"
        return f'<section id="{html.escape(section.id)}">\n{heading}\n{blocks}\n</section>'

    def _block(self, block: Block) -> str:
        match block:
            case Paragraph(words, lead):
                return f"<p{' class=lead' if lead else ''}>{' '.join(map(self.text, words))}</p>"
            case Bullets(items):
                return "<ul>" + "".join(f"<li>{self.text(one)}</li>" for one in items) + "</ul>"
            case Table():
                return self._table(block)
            case Figure():
                return self._figure(block)

    def _table(self, table: Table) -> str:
        def kind(column: int) -> str:
            names = [name for name, columns in (("n", table.right), ("c", table.code)) if column in columns]
            return f' class="{names[0]}"' if names else ""

        heads = "".join(f'<th scope="col"{kind(i)}>{self.text(one)}</th>' for i, one in enumerate(table.heads))
        rows = "\n".join(
            "<tr>"
            + "".join(
                f'<td{kind(i)} data-of="{html.escape(table.heads[i].text)}">{self.text(one)}</td>'
                for i, one in enumerate(row)
            )
            + "</tr>"
            for row in table.rows
        )
        return (
            f"<table>\n<caption>{self.text(table.caption)}</caption>\n<thead><tr>{heads}</tr></thead>\n"
            f"<tbody>\n{rows}\n</tbody>\n</table>"
        )

    def _figure(self, figure: Figure) -> str:
        picture = base64.b64encode(figure.svg).decode("ascii")
        number = f"{html.escape(self._labels.exhibit)} {figure.number}."
        foreign = f' lang="{figure.alt.language}"' if figure.alt.language != self._language else ""
        return (
            f'<figure id="exhibit-{figure.number}">\n'
            f'<img src="data:image/svg+xml;base64,{picture}" alt="{html.escape(figure.alt.text)}"{foreign}>\n'
            f"<figcaption><b>{number}</b> {self.text(figure.caption)}</figcaption>\n</figure>"
        )

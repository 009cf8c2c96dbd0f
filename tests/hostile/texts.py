"""The texts. What each tries is common knowledge of the trade of attackers; no source."""

from __future__ import annotations

SHOWN = {
    # HTML: elements, attributes, comments, and the ends of what they may stand in.
    "script": "<script>alert(1)</script>",
    "script in a textarea": "</textarea><script>alert(2)</script>",
    "script in a title": "</title><script>alert(3)</script>",
    "image out of an attribute": '"><img src=x onerror=alert(4)>',
    "drawing out of an attribute": "'><svg/onload=alert(5)>",
    "handler": '" onmouseover="alert(6)',
    "handler in single quotes": "' autofocus onfocus='alert(7)",
    "handler in back quotes": "`onload=alert(8)`",
    "end of a table": "</td></tr></table><h1>x",
    "end of an option": "</option></select><p>x",
    "comment": "<!-- <p>",
    "end of a comment": "--> <p>",
    "link with script": '<a href="javascript:alert(9)">x</a>',
    "frame": '<iframe src="//127.0.0.1"></iframe>',
    "base": '<base href="//127.0.0.1/">',
    "refresh": '<meta http-equiv="refresh" content="0">',
    "form": '<form action="//127.0.0.1"><button>x',
    "entities": "&lt;b&gt; &amp;amp; &#x27; &nbsp;",
    # Style.
    "style": "<style>*{display:none}</style>",
    "end of a style": "</style><p>",
    "rule": '"; } * { color: red } x { a: "',
    "address in a rule": "url(file:///etc/passwd)",
    "import": '@import "file:///etc/passwd";',
    "expression": "expression(alert(10))",
    # What a writer of documents might fetch.
    "attachment": '<link rel="attachment" href="file:///etc/passwd">',
    "style sheet": "<link rel=stylesheet href=//127.0.0.1/x.css>",
    "picture in a drawing": '<svg><image href="file:///etc/passwd"/></svg>',
    "asset": '<img src="asset:code.svg">',
    # XML.
    "external entity": '<!ENTITY x SYSTEM "file:///etc/passwd"> &x;',
    "end of character data": "]]> <![CDATA[x]]>",
    # Templates and formats.
    "template": "{{ 7*7 }}",
    "template tag": "{% load static %}{% debug %}",
    "template of another kind": "${7*7} #{7*7} <%= 7*7 %>",
    "percent format": "%s %n %(x)s %%",
    "brace format": "{0} {x.__class__} {",
    # Addresses and paths.
    "script address": "javascript:alert(11)",
    "data address": "data:text/html,<b>x</b>",
    "address without scheme": "//127.0.0.1/x?a=1&b=2#c",
    "path": "../../../etc/passwd",
    "path of another system": "..\\..\\boot.ini",
    "escaped path": "%2e%2e%2f%00%0d%0aX: y",
    # Tables: what a spreadsheet takes for a formula.
    "formula": "=1+1",
    "formula by sign": "+1+1",
    "formula by minus": "-2+3",
    "formula by at": "@SUM(A1)",
    "formula that calls": "=cmd|' /C calc'!A0",
    "formula that links": '=HYPERLINK("//127.0.0.1","x")',
    "apostrophe": "'=1+1",
    "separators": 'a,b;c"d""e',
    # Databases.
    "statement": "'; DROP TABLE loops_loop; --",
    "wild cards": "%_\\%",
    # Writing.
    "combining marks": "Z\u0338\u034d\u0317\u0346a\u0337l\u0336g\u0335o" + "\u0301" * 20,
    "emoji": "\U0001f525\U0001f6e2\ufe0f\u2699\ufe0f",
    "beyond the first plane": "\U0001d518\U0001d52b\U0001d529\U0001d526\U0001d531",
    "right to left": "\u0645\u0636\u062e\u0629 \u0636\u063a\u0637",
    "both directions": "\u05dc\u05d7\u05e5 PT-1 (\u05d0)",
    "wide letters": "\uff30\uff34\uff0d\uff11 \u5727\u529b",
    "long word": "W" * 200,
    "long path": "a-" * 100,
    "words that mean nothing": "None null undefined NaN",
    "names of records": "__proto__ constructor id pk",
}
"""Shown as they are, wherever they may be typed."""

HIDDEN = {
    "override of direction": "PT\u202e1101",
    "isolate of direction": "\u2066x\u2069",
    "mark of direction": "\u061cx",
    "zero-width space": "PT\u200b1",
    "zero-width joiner": "a\u200db",
    "byte order mark": "a\ufeffb",
    "soft hyphen": "a\u00adb",
    "word joiner": "a\u2060b",
    "null": "a\x00b",
    "bell and escape": "a\x07\x1b[31mred",
    "next line": "a\x85b",
    "line separator": "a\u2028b",
    "paragraph separator": "a\u2029b",
    "no character": "a\ufffeb\uffff",
    "tag character": "a\U000e0041b",
    "private letter": "\ue0012026-01-01",
    "half a character": "a\ud800b",
    "halves in the wrong order": "\udfff\ud83d",
}
"""Refused where a record is typed; in a remark each such character becomes a visible sign."""

LINES = {
    "forged line of a log": "PT-1\r\n2026-01-01 00:00:00 ERROR forged",
    "forged header": "a\nSet-Cookie: x=1",
    "tab": "a\tb",
}
"""Refused in fields of one line, kept in those of several."""

ALL = SHOWN | HIDDEN | LINES

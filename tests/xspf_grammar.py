"""The rules of XSPF 1 as a RELAX NG grammar, written from the specification's prose, clause by clause.

The schema that xspf.org publishes is under a licence (CC BY-SA 2.5) that keeps it out of here.
"""

from lxml import etree


def _text(*names: str) -> str:
    """Character data, not markup; "MAY contain exactly one"."""
    return "".join(f'<optional><element name="{name}"><text/></element></optional>' for name in names)


def _typed(kind: str, *names: str, how_often: str = "optional") -> str:
    return "".join(
        f'<{how_often}><element name="{name}"><data type="{kind}"/></element></{how_often}>' for name in names
    )


_EXTENDED = """
<zeroOrMore><element name="link"><attribute name="rel"><data type="anyURI"/></attribute>
  <data type="anyURI"/></element></zeroOrMore>
<zeroOrMore><element name="meta"><attribute name="rel"><data type="anyURI"/></attribute>
  <text/></element></zeroOrMore>
"""
"""4.1.1.2.11 and 12: link and meta have a rel. Extensions (13) may hold anything; takemill writes none."""

_TRACK = f"""
<element name="track"><interleave>
  {_typed("anyURI", "location", "identifier", how_often="zeroOrMore")}
  {_text("title", "creator", "annotation", "album")}
  {_typed("anyURI", "info", "image")}
  {_typed("nonNegativeInteger", "trackNum", "duration")}
  {_EXTENDED}
</interleave></element>
"""
"""4.1.1.2.14.1.1: a track's elements, in any order: "zero or more location elements"; trackNum and duration
"MUST be a valid XML Schema nonNegativeInteger"."""

XSPF_1 = etree.RelaxNG(
    etree.fromstring(f"""
<grammar xmlns="http://relaxng.org/ns/structure/1.0" ns="http://xspf.org/ns/0/"
         datatypeLibrary="http://www.w3.org/2001/XMLSchema-datatypes">
  <start><element name="playlist">
    <attribute name="version" ns=""><value>1</value></attribute>
    <interleave>
      {_text("title", "creator", "annotation")}
      {_typed("anyURI", "info", "location", "identifier", "image", "license")}
      {_typed("dateTime", "date")}
      {_EXTENDED}
      <element name="trackList"><zeroOrMore>{_TRACK}</zeroOrMore></element>
    </interleave>
  </element></start>
</grammar>
""")
)
"""4.1.1: a playlist of version 1 has "one and only one trackList", which may be empty, and the rest at most
once."""

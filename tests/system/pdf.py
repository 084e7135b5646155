"""The smallest PDF that says something: one page, one line a text, Latin-1."""


def page(lines):
    """The bytes of a PDF page with these lines on it."""
    text = "BT /F 11 Tf 40 780 Td 14 TL "
    for line in lines:
        text += "(%s) Tj T* " % line.replace("\\", "\\\\").replace("(", "\\(").replace(")", "\\)")
    content = (text + "ET").encode("iso-8859-1", "replace")
    objects = [
        b"<</Type/Catalog/Pages 2 0 R>>",
        b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
        b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 595 842]/Contents 4 0 R"
        b"/Resources<</Font<</F<</Type/Font/Subtype/Type1/BaseFont/Helvetica"
        b"/Encoding/WinAnsiEncoding>>>>>>>>",
        b"<</Length %d>>stream\n%s\nendstream" % (len(content), content),
    ]
    out, offsets = b"%PDF-1.4\n", []
    for number, body in enumerate(objects, 1):
        offsets.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (number, body)
    start = len(out)
    out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    out += b"".join(b"%010d 00000 n \n" % offset for offset in offsets)
    return out + b"trailer<</Size %d/Root 1 0 R>>\nstartxref\n%d\n%%%%EOF\n" % (len(objects) + 1, start)

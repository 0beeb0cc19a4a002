"""Spreadsheets written by hand, and those that are made to harm: bombs, endless rows, links, entities."""

import subprocess
import sys
import textwrap
import zipfile
from pathlib import Path

MESSY = Path(__file__).resolve().parents[1] / "sample_logs" / "messy"
CONTENT_TYPES = (
    '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="xml" ContentType="application/xml"/>'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.'
    'spreadsheetml.sheet.main+xml"/></Types>'
)
RELATIONS = (
    '<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="rId1" Target="{target}" '
    'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/{kind}"/></Relationships>'
)
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
WORKBOOK = (
    f'<?xml version="1.0"?><workbook xmlns="{MAIN}" xmlns:r="http://schemas.openxmlformats.org/officeDocument'
    '/2006/relationships"><sheets><sheet name="s" sheetId="1" r:id="rId1"/></sheets></workbook>'
)


def write_xlsx(path, rows_xml, extra=(), head='<?xml version="1.0"?>'):
    sheet = f'{head}<worksheet xmlns="{MAIN}"><sheetData>{rows_xml}</sheetData></worksheet>'
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", CONTENT_TYPES)
        archive.writestr("_rels/.rels", RELATIONS.format(kind="officeDocument", target="xl/workbook.xml"))
        archive.writestr("xl/workbook.xml", WORKBOOK)
        archive.writestr(
            "xl/_rels/workbook.xml.rels", RELATIONS.format(kind="worksheet", target="worksheets/sheet1.xml")
        )
        archive.writestr("xl/worksheets/sheet1.xml", sheet)
        for name, data in extra:
            archive.writestr(name, data)
    return path


def cell_xml(place, text):
    return f'<c r="{place}" t="inlineStr"><is><t>{text}</t></is></c>'


def measured(path) -> tuple[str, float, float]:
    """What a take says to a file, and the seconds and megabytes that it cost, in a process of its own."""
    code = """
        import resource, sys, time
        from forecast.errors import InputError
        from forecast.intake.readers.foreign import read_foreign
        begun = time.process_time()
        try:
            read_foreign(sys.argv[1])
            said = "read"
        except InputError as error:
            said = str(error)
        child = resource.getrusage(resource.RUSAGE_CHILDREN)
        seconds = time.process_time() - begun + child.ru_utime + child.ru_stime
        own = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
        print(seconds, max(child.ru_maxrss, int(own.split()[1])) / 1024, said, sep="\\n")
    """
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code), str(path)], capture_output=True, text=True, check=True
    )
    seconds, megabytes, said = done.stdout.split("\n", 2)
    return said, float(seconds), float(megabytes)


def bomb(path):
    """A small file that unpacks to 300 MB of blanks."""
    write_xlsx(path, "")
    with (
        zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive,
        archive.open("xl/worksheets/sheet2.xml", "w") as part,
    ):
        for _ in range(300):
            part.write(b" " * 1_000_000)
    return path


def lying_bomb(path):
    """300 MB in a part that declares one kilobyte."""
    bomb(path)
    data = bytearray(path.read_bytes())
    with zipfile.ZipFile(path) as archive:
        true_size = archive.getinfo("xl/worksheets/sheet2.xml").file_size.to_bytes(4, "little")
    assert data.count(true_size) >= 1
    path.write_bytes(bytes(data).replace(true_size, (1000).to_bytes(4, "little")))
    return path


def million_empty_rows(path):
    rows = "".join(f'<row r="{i}" spans="1:{i % 97}"/>' for i in range(1, 1_000_001))
    return write_xlsx(path, rows)


def far_corner(path):
    rows = f'<row r="1">{cell_xml("A1", "x")}</row><row r="1048576">{cell_xml("XFD1048576", "x")}</row>'
    return write_xlsx(path, rows)


def entities(path):
    levels = "".join(
        f'<!ENTITY e{i} "{f"&e{i - 1};" * 10}">' if i else '<!ENTITY e0 "ha">' for i in range(12)
    )
    return write_xlsx(
        path,
        f'<row r="1">{cell_xml("A1", "&e11;")}</row>',
        head=f"<?xml version='1.0'?><!DOCTYPE x [{levels}]>",
    )


def outside_links(path):
    return write_xlsx(path, "", extra=[("xl/externalLinks/externalLink1.xml", "<externalLink/>")])


def repeated_ods(path, cell):
    """The messy ODS sheet with its last row repeated to the end of the sheet, as spreadsheet programs do."""
    row = f'<table:table-row table:number-rows-repeated="1048560">{cell}</table:table-row></table:table>'
    with zipfile.ZipFile(MESSY / "pair.ods") as messy, zipfile.ZipFile(path, "w") as archive:
        for part in messy.namelist():
            archive.writestr(part, messy.read(part).replace(b"</table:table>", row.encode()))
    return path


def million_full_rows(path):
    return repeated_ods(
        path, '<table:table-cell office:value-type="string"><text:p>x</text:p></table:table-cell>'
    )


# Who makes the file, and what its refusal says.
HARMFUL = (
    (million_full_rows, "more memory or time"),
    (bomb, "unpacks to 300 MB"),
    (lying_bomb, "damaged spreadsheet|unpacks to"),
    (million_empty_rows, "rows, most of them probably empty"),
    (far_corner, "more memory or time"),
    (entities, "declares XML entities"),
    (outside_links, "links to other files"),
)

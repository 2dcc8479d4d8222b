"""Papers and tables about a station: what its journal says, as a page to print, keep, and check against the journal years later.

Theory of operation. A source (source.py) reads a folder as far as a head that is noted: entries that come later change nothing in a
report that was made. From its entries facts are gathered (day.py, period.py, incident.py, calibration.py), plain JSON with times in UTC and
values in the units of their kinds. A page (page.py and its kin) says these facts in a language, in units and by the station's clock, and
nothing else. The facts stand in the page, too, and the page in its PDF (pdf.py), so that proof.py can gather them again from a journal,
make the page again, and say which number or word of it doesn't follow. tables.py writes what is exported for spreadsheets and other
systems. wall_sheet.py has nothing of the journal: it is made of the station file, and says where the page is and what to do.
"""

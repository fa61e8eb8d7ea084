"""Pages of many sites: each link leads to a page, and names are text whatever they look like."""

import re

from assessing import finding, outage, visit

from survey.fleet import IN_ORDER, NOT_READ, Row, Site, SitesTable, order_of
from survey.output.site_pages import pages_of


def pages(results, refused=()):
    names = [one.site.name for one in results]
    sites = SitesTable(
        file="t.csv",
        sites=tuple(Site(name=name, plan="p.toml") for name in names),
        refused=tuple(refused),
        places={name: f"line {k}" for k, name in enumerate(names, start=2)},
    )
    return dict(pages_of(sites, order_of(results)))


def test_the_first_page_links_to_a_page_of_every_site():
    results = [
        visit("farm"),
        visit("shop", state=IN_ORDER, findings=()),
        visit("gone", state=NOT_READ, findings=(), reason="p.toml: there is no such file"),
        *(visit(f"s{k}", finding(cause="gateway or network", outages=(outage(35.0),))) for k in range(9)),
    ]
    found = pages(results, [Row(place="line 99", site="", problem="site: is empty")])
    index = found.pop("index.html")
    links = re.findall(r'href="([^"]+)"', index)
    assert {link for link in links if link.startswith("sites/")} == set(found)
    assert len(found) == len(results)
    assert all('href="../index.html"' in page for page in found.values())
    assert "Visit first: farm" in index
    assert "line 99: site: is empty" in index
    assert "line 99: line 99" not in index
    assert "there is no such file" in index


def test_a_page_has_next_step_what_to_bring_evidence_and_cautions():
    (page,) = (text for name, text in pages([visit("farm", warnings=("a warning",))]).items() if name != "index.html")
    for words in ("Look only", "licensed electrician", "two at the same times", "a warning", "Work at height"):
        assert words in page


def test_the_row_of_a_visit_names_all_that_is_to_be_brought():
    index = pages([visit("farm", finding(bring="spare unit"), finding(bring="ladder and antenna"))])["index.html"]
    assert "spare unit; ladder and antenna" in index


def test_names_are_text_and_lead_out_of_no_folder():
    evil = "<script>alert(1)</script>/../../x"
    found = pages([visit(evil), visit("../" * 30), visit("Ümlaut ✓")])
    assert all(re.fullmatch(r"index\.html|sites/\d+-[a-z0-9-]+\.html", name) for name in found)
    assert all("<script" not in text for text in found.values())
    assert "&lt;script&gt;" in found["index.html"]


def test_two_sites_with_like_names_have_two_pages():
    assert len(pages([visit("a b"), visit("a-b"), visit("A B")])) == 4

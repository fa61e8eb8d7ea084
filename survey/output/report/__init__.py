"""The page for the job file: what was asked, what is recommended, how sure that is, and every link; one HTML file."""

from survey.output.report.findings import Findings, Given, findings_of
from survey.output.report.page import Stamp, html_page
from survey.output.report.side_by_side import compare_page

__all__ = ["Findings", "Given", "Stamp", "compare_page", "findings_of", "html_page"]

"""The pages of changes and of licences."""

from catalogue.pages.contract import Page, Visit
from catalogue.report.project import changes as all_changes
from catalogue.report.project import licences as all_licences


def changes(visit: Visit) -> Page:
    """Show what changed for those who use Miswire, the newest version first."""
    log = all_changes()
    versions = [{"version": name, "changes": lines} for name, lines in log.versions.items()]
    return Page("What changed", "changes", {"introduction": log.introduction, "versions": versions})


def licences(visit: Visit) -> Page:
    """Show the licences in full."""
    texts = [{"name": name, "text": text} for name, text in all_licences().items()]
    return Page("Licences", "licences", {"licences": texts})

"""The provenance of a page's facts: the run that proved them, and the audits since."""

from catalogue.pages.contract import Facts, Visit

_RUN = "run.started, run.finished, run.version, run.engine, run.plan, run.self_check, run.digest"


def provenance(visit: Visit, work_id: str) -> Facts:
    """Return the batch of a circuit and its faults, with its run and the file's audits."""
    run = visit.row(
        f"select {_RUN} from work join run on run.id = run_id where work.id = ?", work_id
    )
    return {"batch": work_id, "run": dict(run) if run else None, "audits": audits(visit)}


def last_run(visit: Visit) -> Facts | None:
    """Return the newest run, whose digest is that of the whole file."""
    run = visit.row(f"select {_RUN} from run order by id desc limit 1")
    return dict(run) if run else None


def audits(visit: Visit) -> list[Facts]:
    """Return every audit, newest first; `current` if the content has not changed since."""
    run = last_run(visit)
    return [
        {**dict(row), "current": bool(run and row["digest"] == run["digest"])}
        for row in visit.rows(
            "select finished, engine, faults, disagreements, digest from audit order by id desc"
        )
    ]

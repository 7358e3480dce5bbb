"""The job report as one self-contained HTML page: for the tech on two sheets, for the player on one."""

from __future__ import annotations

from pitchcheck.report.job.records import JobStory
from pitchcheck.report.job.view import job_view
from pitchcheck.report.page.render import render


def render_job(story: JobStory, *, reader: str) -> str:
    """Render the report of a job.

    Parameters
    ----------
    story : JobStory
    reader : {"tech", "player"}
        The player's page leaves out the slots one by one, the takes and the bench notes.

    Returns
    -------
    str
        A whole HTML document; style, drawings and sound are inside.
    """
    return render("job.html.jinja", view=job_view(story), reader=reader)

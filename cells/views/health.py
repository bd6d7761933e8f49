"""Registry health: what is missing or contradictory, and where to mend it."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from cells.downloads import csv_response
from cells.health import run_checks
from cells.views.doors import csv_url


@require_safe
def registry_health(request: HttpRequest) -> HttpResponse:
    checks = run_checks()
    if "csv" in request.GET:
        rows = (
            (title, finding.subject, finding.sentence)
            for title, findings in checks
            for finding in findings
        )
        return csv_response("registry-health", ["check", "subject", "finding"], rows)
    context = {
        "checks": checks,
        "found": sum(len(findings) for _, findings in checks),
        "csv_url": csv_url(request),
    }
    return render(request, "cells/registry_health.html", context)

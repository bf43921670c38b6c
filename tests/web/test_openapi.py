"""The interface's description: valid by openapi-spec-validator, true by schemathesis; published.

OpenAPI Specification 3.1. Schemathesis makes requests from the description,
fit and unfit, and holds every answer to it.
"""

import re

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings

from blinkspan.web.app import create_app

schemathesis = pytest.importorskip("schemathesis")
validator = pytest.importorskip("openapi_spec_validator")

# Starts work in processes, or takes bytes that are no film: tests of their own.
_APART = re.compile("work|search|inspect|uploads")


def test_the_description_is_valid(client):
    description = client.get("/api/openapi.json").json()
    validator.validate(description)
    assert description["openapi"].startswith("3.1")
    routes = [
        route
        for methods in description["paths"].values()
        for route in methods.values()
        if not route.get("description")
    ]
    assert routes == []


def test_every_route_answers_as_described_and_none_breaks(library):
    app = create_app(library, person="Mara")
    described = schemathesis.openapi.from_dict(app.openapi())
    operations = [
        each.ok() for each in described.get_all_operations() if not _APART.search(each.ok().path)
    ]
    assert len(operations) >= 15
    with TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False) as client:
        for operation in operations:
            hold_to_its_description(operation, client)


def hold_to_its_description(operation, client):
    @settings(
        max_examples=6,
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy())
    def hold(case):
        request = case.as_transport_kwargs(base_url="http://127.0.0.1")
        answer = client.request(**{k: v for k, v in request.items() if k != "cookies"})
        told = f"{operation.method} {operation.path}: {answer.status_code} {answer.text[:300]}"
        assert answer.status_code < 500, told
        if answer.status_code >= 400:
            assert set(answer.json()) == {"error"}, told
        elif answer.headers.get("content-type") == "application/json":
            case.operation.validate_response(answer)

    hold()

"""Tests that share a group run in one process: what keeps a clock one after the other, what is dear made once."""

import os

import pytest


@pytest.mark.skipif("PYTEST_XDIST_WORKER" not in os.environ, reason="there is but one process")
@pytest.mark.xdist_group("alone")
def test_a_group_is_known_to_who_hands_out_the_tests(request):
    """By the name of the test: a pytest that is too new for its helper would let every group fall apart in silence."""
    assert request.node.nodeid.endswith("@alone"), "pip install -c constraints.txt -e '.[test]'"


@pytest.fixture(scope="module")
def dear():
    """Stand for what is made once a module."""


@pytest.mark.parametrize("k", range(2))
def test_a_module_with_a_fixture_of_its_own_is_a_group(dear, request, k):
    """So that no second process makes it again."""
    assert [mark.args for mark in request.node.iter_markers("xdist_group")] == [("test_groups",)]

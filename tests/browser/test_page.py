"""The panel as a page, without network."""

import pytest
from playwright.sync_api import expect

from tests.browser.builder import Builder
from tests.browser.story import play


@pytest.fixture
def builder(voila, page):
    page.goto(voila, wait_until="domcontentloaded")
    builder = Builder(page)
    builder.await_answer(1)
    return builder


def test_the_story(builder):
    """The whole story a builder plays, on the page; what it takes for granted stands at its foot."""
    builder.takes_module("middle-42")
    builder.await_answer(2)
    play(builder)
    expect(builder.page.locator(".pdm-caution")).to_contain_text("Values are for design")

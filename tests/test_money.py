"""Sums of money as they are written, against the list of codes of ISO 4217."""

from __future__ import annotations

from decimal import Decimal

import pytest

from kgraph.money import CODES, Money, MoneyError, money, sums


@pytest.mark.parametrize(
    ("text", "amount", "code"),
    [
        ("4.50 EUR", "4.50", "EUR"),
        ("12 gbp", "12", "GBP"),
        ("0 JPY", "0", "JPY"),
        (" 7.125  KWD", "7.125", "KWD"),
    ],
)
def test_a_sum_keeps_every_digit(text: str, amount: str, code: str) -> None:
    assert money(text) == Money(Decimal(amount), code)
    assert str(money(text)) == f"{amount} {code}"


@pytest.mark.parametrize(
    "text", ["4.50", "EUR", "", "4.50 EURO", "-4 EUR", "4,50 EUR", "1e3 EUR", "nan EUR", "4.5.0 EUR", "4 XTS"]
)
def test_what_is_no_sum_is_refused_with_what_is_right(text: str) -> None:
    with pytest.raises(MoneyError):
        money(text)


def test_the_codes_are_those_of_iso_4217() -> None:
    # ISO 4217 as pycountry 26 lists it: 178 alphabetic codes, XTS (tests) and XXX (no currency) among them.
    assert len(CODES) == 176
    assert all(len(c) == 3 and c.isascii() and c.isupper() for c in CODES)
    assert {"EUR", "GBP", "CHF", "PLN", "CZK", "DKK", "SEK", "NOK", "JPY", "USD", "ZWG"} <= CODES
    assert not {"HRK", "DEM", "XTS", "XXX"} & CODES


def test_each_currency_is_summed_apart() -> None:
    found = sums(map(money, ["0.10 EUR", "0.20 EUR", "3 GBP"]))
    assert [str(m) for m in found] == ["0.30 EUR", "3 GBP"]

"""A letter of every kind, each from facts that fill it, in any language alone."""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from types import MappingProxyType

import pytest

from rehab.care.sharing import SchoolTopic, Sharing
from rehab.demo import demo_cases
from rehab.letters.facts import About, LetterFacts, facts_of
from rehab.letters.languages import SOURCE, language
from rehab.letters.letter import KINDS, Letter, write_letter
from rehab.settings import LETTER_LANGUAGES
from tests.care.cases import plan_for
from tests.letters.plans import CLINIC, TODAY, known_case, plan, span, whole_plan

TO_CLINICIANS = ("clinician", "transfer", "transition")
TO_FAMILIES = tuple(kind for kind in KINDS if kind not in TO_CLINICIANS)
every_kind = pytest.mark.parametrize("kind", KINDS)
every_language = pytest.mark.parametrize("code", LETTER_LANGUAGES)

KNOWN = About(
    case=replace(known_case(), sharing=Sharing("c1", TODAY, tuple(SchoolTopic), "Ada Marrow")),
    told=facts_of(plan(occlusion=(span(-20, 40, 60),)), CLINIC, About()).told,
)


@cache
def facts_by_kind() -> Mapping[str, LetterFacts]:
    demo = demo_cases()
    case = next(told.case for told in demo.told if told.case.child.number == "K-112")
    clinical = facts_of(plan_for(case, demo.today), CLINIC, About(case=case, to="Dr Ada Vane"))
    clinical = replace(clinical, age_months=17 * 12)
    home = facts_of(whole_plan(), CLINIC, KNOWN)
    return MappingProxyType({kind: home if kind in TO_FAMILIES else clinical for kind in KINDS})


@cache
def letter_of(kind: str, code: str = SOURCE) -> Letter:
    """As after a review of its translation."""
    told = language(code)
    reviewed = frozenset({told.digest})
    return write_letter(kind, facts_by_kind()[kind], told, language(SOURCE), reviewed=reviewed)

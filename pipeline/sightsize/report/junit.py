"""Findings as JUnit XML, for continuous integration."""

import xml.etree.ElementTree as ET
from collections.abc import Sequence

from sightsize.base.findings import Finding
from sightsize.base.plain_text import visible


def junit_xml(findings_by_job: dict[str, list[tuple[str, Sequence[Finding]]]]) -> str:
    """Return JUnit XML: a suite for each job file, a case for each print or for the file itself.

    Characters that XML 1.0 forbids (https://www.w3.org/TR/xml/#charsets), and all others that are
    not seen, stand in it as escapes.
    """
    root = ET.Element("testsuites")
    for job, cases in findings_by_job.items():
        failed = sum(any(each.level == "refuse" for each in found) for _, found in cases)
        suite = ET.SubElement(
            root, "testsuite", name=visible(job), tests=str(len(cases)), failures=str(failed)
        )
        for name, found in cases:
            case = ET.SubElement(suite, "testcase", classname=visible(job), name=visible(name))
            for finding in found:
                if finding.level == "refuse":
                    failure = ET.SubElement(case, "failure", message=visible(finding.message))
                    failure.text = finding.sentence()
    # ET's own declaration would name the encoding of the machine.
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ET.tostring(root, encoding="unicode")}\n'

"""Findings as JUnit XML, for continuous integration."""

import xml.etree.ElementTree as ET
from collections.abc import Sequence

from sightsize.base.findings import Finding


def junit_xml(findings_by_job: dict[str, list[tuple[str, Sequence[Finding]]]]) -> str:
    """Return JUnit XML: a suite for each job file, a case for each print or for the file itself."""
    root = ET.Element("testsuites")
    for job, cases in findings_by_job.items():
        failed = sum(any(each.level == "refuse" for each in found) for _, found in cases)
        suite = ET.SubElement(
            root, "testsuite", name=job, tests=str(len(cases)), failures=str(failed)
        )
        for name, found in cases:
            case = ET.SubElement(suite, "testcase", classname=job, name=name)
            for finding in found:
                if finding.level == "refuse":
                    failure = ET.SubElement(case, "failure", message=finding.message)
                    failure.text = finding.sentence()
    return ET.tostring(root, encoding="unicode", xml_declaration=True)

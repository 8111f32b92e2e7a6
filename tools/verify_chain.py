"""Check the sealed days of an export without Swardline: verify_chain.py FOLDER [HEAD AS PRINTED]"""

import hashlib
import json
import sys
from pathlib import Path

chain = Path(sys.argv[1]) / "chain"
before, day, faults, count = "0" * 64, {"day": "none", "head": ""}, [], 0
heads = set()
for text in (chain / "days.jsonl").read_bytes().splitlines():
    day = json.loads(text)
    sums: dict[str, list[str]] = {}
    for line in (chain / f"{day['day']}.jsonl").read_bytes().splitlines():
        sums.setdefault(json.loads(line)["kind"], []).append(hashlib.sha256(line).hexdigest())
        count += 1
    for kind in {*sums, *day["parts"]}:
        digest = hashlib.sha256("".join(sorted(sums.get(kind, []))).encode()).hexdigest()
        if digest != day["parts"].get(kind, {}).get("sha256"):
            faults.append(f"{day['day']}: the lines of {kind} are not those that were sealed")
    sealed = {"day": day["day"], "before": before, "parts": day["parts"]}
    form = json.dumps(sealed, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    if day["before"] != before or hashlib.sha256(form.encode()).hexdigest() != day["head"]:
        faults.append(f"{day['day']}: the head does not follow from the day before and the lines")
    before = day["head"]
    heads.add(before)
if len(sys.argv) > 2 and "".join(sys.argv[2:]).lower() not in heads:
    faults.append("The printed head is the head of no day: the chain was written anew.")
print("\n".join(faults) or f"Whole: {count} lines, up to {day['day']} with head {day['head']}")
sys.exit(bool(faults))

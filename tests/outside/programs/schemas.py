"""Whether documents fit their schemas, by another validator."""

import json
import sys

import jsonschema

question = json.load(sys.stdin)
answers = []
for case in question:
    schema = case["schema"]
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    answers.append([validator.is_valid(document) for document in case["documents"]])
json.dump(answers, sys.stdout)

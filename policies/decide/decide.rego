# METADATA
# scope: package
# title: All findings and the verdict, for the stock OPA tools
# description: >-
#   The service does not use this file: it asks each rule by itself, decides which apply to the action, and counts the
#   findings against the rules that it loaded. This is for reading facts and findings by hand.
package decide

# Every rule's finding, by id.
findings[id] := data.rules[area][rule].finding if {
	some area, rule
	data.rules[area][rule].finding
	id := concat("/", [area, rule])
}

default verdict := "hold"

verdict := "deny" if {
	some finding in findings
	finding.effect == "deny"
}

verdict := "allow" if {
	count(findings) > 0
	every finding in findings {
		finding.effect == "pass"
	}
}

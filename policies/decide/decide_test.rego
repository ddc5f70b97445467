package decide_test

import data.decide

test_no_facts_hold if {
	decide.verdict == "hold" with input as {}
	count(decide.findings) > 20 with input as {}
}

test_deny_wins if {
	facts := {"above_horizon_deg": -1, "above_horizon_sharp_deg": -1}
	decide.verdict == "deny" with input as facts with data.limits.sky.horizon as {"above_deg": 0}
}

test_all_pass_allows if {
	decide.verdict == "allow" with decide.findings as {"a/b": {"effect": "pass"}, "c/d": {"effect": "pass"}}
}

test_nothing_holds if {
	decide.verdict == "hold" with decide.findings as {}
}

test_unknown_effect_holds if {
	decide.verdict == "hold" with decide.findings as {"a/b": {"effect": "fine"}}
}

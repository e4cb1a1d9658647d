"""The pages that are handed out: session, take-home, doctor, preparation, plan, caseload."""

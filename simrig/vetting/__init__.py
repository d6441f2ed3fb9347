"""Vetting: coded rules over a profile, each with a page that says why and what to do."""

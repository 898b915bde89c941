package capacity

// Cautions to print beside advice. They aren't legal advice.
const (
	// OvertimeCaution goes with overtime and opened Saturdays: 29 CFR 778;
	// that states can be stricter is from memory.
	OvertimeCaution = "Federal law asks for at least one and a half times the regular rate beyond 40 hours in a fixed workweek, " +
		"without averaging over two weeks (29 CFR 778); some states ask for more. " +
		"Long weeks tire people, and the tired get hurt: leave full days off between them. " + LocalRules
	// RefrigerantCaution goes with air conditioners and refrigerators: Clean
	// Air Act 608 and 609, 40 CFR 82 subparts B and F.
	RefrigerantCaution = "Opening a refrigerant circuit needs an EPA certificate: section 609 for a vehicle's own air conditioning, " +
		"section 608 for other circuits; ask EPA which covers a roof unit. " + LocalRules
	// GasCaution goes with LP gas: for example Utah Admin. Code R710-6, Texas
	// 16 TAC 9.8, NFPA 58 and 1192.
	GasCaution = "Work on LP gas may need a state license, which differs from state to state. " + LocalRules
	// SafetyCaution goes with work that is moved, called in later or sent out.
	SafetyCaution = "Never put off work on gas leaks, CO alarms, brakes, tires, hitches, roofs or electric shock. " + LocalRules
	// EstimateCaution goes with hours and days to come.
	EstimateCaution = "These hours and days are estimates from your own records: no promise to a customer, of a manufacturer or of law."
	// CustomerCaution is the same for the customer.
	CustomerCaution = "This is an estimate from how long such work has taken here. It is no promise: a part that comes late, or work found once it is opened, can move it."
	// LocalRules ends every caution.
	LocalRules = "Check your state and local rules."
)

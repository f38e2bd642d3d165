package regulating

// Cautions returns what stands beside every advice to turn. Where no source is
// named it is common practice.
func Cautions() []string {
	return []string{
		"Regulating is bench work for a trained hand. If yours is not, stop here and give it to a licensed or skilled person. Follow your local rules.",
		"Never touch a screw or a weight while the balance moves: stop it and hold the balance first, without wedging it tight, and release it afterwards.",
		"Turn the pair equally: both screws out, or both in, by the same count on opposite sides. One alone puts the balance out of poise.",
		"Count the turns of each screw aloud, and look at the slot before and after. If the count is lost, write that too.",
		"Never force a screw. If it binds or has no thread left, leave it and have it examined.",
		"Use tools that fit and are not magnetised, and keep magnets away: a magnetised spring changes its rate.",
		"Touch neither the rim nor the laminae nor the balance spring: a rim that was bent once is not compensated any more.",
		"Power remains in the mainspring while the balance is held: the train must be locked before anything is loosened.",
		"Write every turning into the logbook at once: which part, how much, which way, both or one, and when.",
	}
}

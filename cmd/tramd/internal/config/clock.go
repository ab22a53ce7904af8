package config

// Clock says what the machine's time of day is worth.
type Clock struct {
	// Trusted: the clock has a battery, or somebody sets it by hand where there is no network. Otherwise it counts as
	// set once the network has set it.
	Trusted bool `toml:"trusted"`
}

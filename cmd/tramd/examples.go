package main

// example is a command line worth copying, and what it does.
type example struct{ Line, Does string }

// examples are shown in a command's help and in the manual, by command.
var examples = map[string][]example{
	"": {
		{"tramd demo", "see the whole job on a simulated machine"},
		{"tramd setup", "answer questions about your machine, and have its configuration written"},
		{"tramd sweep", "measure: turn the arm by hand and read tilt and nod"},
		{"tramd advise", "what to move next"},
	},
	"sweep": {
		{"tramd sweep", "one attended check with the configured number of turns"},
		{"tramd sweep --purpose adjust --turns 2", "two turns while the machine is being adjusted"},
		{"tramd sweep --json", "the result as one JSON object, for a script"},
	},
	"program": {
		{"tramd program --dry-run", "print every command that would go to the controller, and move nothing"},
		{"tramd program", "sweep in steps, after you typed the machine's name"},
	},
	"watch": {
		{"tramd watch", "live numbers in a terminal beside the machine"},
		{"tramd watch --once", "the present state once"},
	},
	"fit": {
		{"tramd fit --radius 120 --tolerance 0.02/300 sweep.csv", "a recorded sweep with an arm of 120 mm"},
		{"tramd fit --json --config linnet.toml mon.csv tue.csv",
			"two sweeps with linnet's setup, one JSON object a line"},
	},
	"stack": {
		{"tramd stack", "spindle, travels and table together, from the record"},
		{"tramd stack --json measured.json", "the same from relations of your own"},
	},
	"traverse": {
		{"tramd traverse left-rail",
			"readings at the positions of [[traverse]] left-rail, each taken when it lies still"},
		{"tramd traverse --typed --json left-rail", "the same with a plain dial, the readings typed"},
	},
	"bar": {
		{"tramd bar shank", "a tool shank at two heights: run-out, and its angle to the axis"},
	},
	"travel": {
		{"tramd travel cylinder-square",
			"the head along a square, from two sides, and once more with the square turned"},
	},
	"import": {
		{"tramd import --at '2026-03-02 07:30' sweep.csv", "store a sweep that was recorded elsewhere"},
		{"tramd import --name left-rail --straightness 0.01 rail.csv", "store a traverse along a rail, under its name"},
		{"tramd import --of bar head.csv", "store the head's travel along a bar in the spindle"},
	},
	"separate": {
		{"tramd separate 12 13", "run 12 on the plate as it lay, run 13 with the plate turned by 180 degrees"},
	},
	"advise": {
		{"tramd advise", "the next move, from the record"},
		{"tramd advise --of 'left rail'", "the next move at the joint that this traverse shows: both ends alike"},
		{"tramd advise --json log.json", "the same from a log of your own"},
	},
	"aim": {
		{"tramd aim 'left rail'", "read at one end, park at the other, and move until the figure is there"},
		{"tramd aim 'left rail' --adjuster 'rear bolts'", "the aim of one of several moves"},
	},
	"event log": {
		{"tramd event adjusted --move swing=-0.10", "the plate was swung by 0.10 mm the negative way"},
		{"tramd event serviced 'new spindle bearings'", "history and dates start again from here"},
		{"tramd event hours 1520.5", "the spindle's hour counter shows 1520.5"},
	},
	"event list": {
		{"tramd event list", "the last twenty events"},
		{"tramd event list --json --limit 1000", "for a script"},
	},
	"event undo": {
		{"tramd event undo 7", "event 7 was a mistake"},
	},
	"job": {
		{"tramd job --text", "the whole assembly: what is done, what was upset, what comes next"},
		{"tramd job --out job.html", "the record of the last job, to print"},
	},
	"runs": {
		{"tramd runs", "the last twenty runs"},
		{"tramd runs --limit 100 --json", "a hundred, one JSON object a line"},
	},
	"show": {
		{"tramd show 12", "run 12 with its result"},
		{"tramd show 12 --budget", "and where its uncertainty comes from"},
	},
	"drift": {
		{"tramd drift", "does the machine drift, and when is the next check"},
		{"tramd drift --tolerance 0.02/300 --json checks.csv", "the same from a CSV of checks"},
	},
	"report": {
		{"tramd report --out report.html", "history, forecast and check interval, to print"},
	},
	"export": {
		{"tramd export 12 > run12.csv", "the readings of run 12"},
		{"tramd export 12 --json > run12.json", "run, setup, result and readings"},
		{"tramd export --openmetrics --every 4m > linnet.om", "all checks, for Prometheus"},
	},
	"refit": {
		{"tramd refit 12 13", "what today's model makes of two old runs"},
		{"tramd refit 12 --keep", "and store the new result beside the old one"},
	},
	"setup": {
		{"tramd setup", "ask, and write NAME.toml"},
		{"tramd setup linnet.toml", "ask, and write that file"},
	},
	"config check": {
		{"tramd config check", "check the configuration that the other commands use"},
		{"tramd config check linnet.toml", "check this one"},
	},
	"doctor": {
		{"tramd doctor", "examine this computer, and what the configuration names"},
	},
	"ports": {
		{"tramd ports", "which adapter is which, without opening any"},
	},
	"identify": {
		{"tramd identify /dev/serial/by-id/usb-indicator", "listen at the usual speeds"},
		{"tramd identify /dev/serial/by-id/usb-indicator --baud 9600 --ask",
			"one speed, and write the usual prompts to the port"},
	},
	"listen": {
		{"tramd listen /dev/serial/by-id/usb-indicator --baud 9600", "raw and decoded, side by side"},
		{"tramd listen --config linnet.toml --port arm", "a port as the configuration reads it"},
	},
	"record": {
		{"tramd record --port /dev/serial/by-id/usb-indicator --seconds 30 arm.log",
			"half a minute of what the port sends"},
	},
	"password": {
		{"tramd password", "type the password twice, and copy the hash into [http]"},
	},
	"demo": {
		{"tramd demo", "open the page it names, and watch the job"},
		{"tramd demo --seconds 12 --json", "a short one, with truth and result as JSON"},
	},
	"run": {
		{"tramd run --config linnet.toml", "the daemon in this terminal, until Ctrl-C"},
	},
	"arm": {
		{"tramd arm --hours 12", "planned checks may move the arm until then"},
	},
	"disarm": {
		{"tramd disarm", "they may not"},
	},
	"backup": {
		{"tramd backup /mnt/stick/tramd", "a numbered copy in that folder"},
	},
	"restore": {
		{"tramd restore /mnt/stick/tramd/linnet-000007-20260302T063000Z.db", "after the daemon was stopped"},
	},
	"help": {
		{"tramd help config check", "the help of one command"},
	},
	"manual": {
		{"tramd manual | man -l -", "read the manual"},
	},
	"completion": {
		{"source <(tramd completion bash)", "completion in this shell"},
		{"tramd completion fish > ~/.config/fish/completions/tramd.fish", "for good, in fish"},
	},
	"version": {
		{"tramd version", "the same as tramd --version"},
	},
}

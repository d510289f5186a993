package config_test

func slips() []slip {
	return []slip{
		{"unknown key", "    size: 38 L", "    sise: 38 L", []string{
			`g.yaml:23:5: pots.chilli: unknown key of a pot, found "sise", expected "size"`,
		}},
		{"unknown key, nothing near", "supply:\n", "supply:\n  colour: blue\n", []string{
			`g.yaml:43:3: supply: unknown key of the supply, found "colour", expected one of flow, hours, tank, tank-reserve, pressure, conductivity, meter, float, pump`,
		}},
		{"unknown section", "supply:\n", "zzzzzz: 1\nsupply:\n", []string{
			`g.yaml:42:1: unknown key of the garden file, found "zzzzzz", expected one of site, sample-every, stages-by-heat, mixes, crops, products, hose, pots, lines, supply, rain-gauge, limits, hardware, broker, alarms, journal`,
		}},
		{"missing section", "site:\n  name: Test\n  latitude: 40.64\n  longitude: 22.94\n  elevation: 45 m\n  time-zone: Europe/Athens\n", "", []string{
			`g.yaml:1:1: no "site", expected site: where the garden is`,
		}},
		{"missing key", "    mix: light\n    size: 38 L\n", "    size: 38 L\n", []string{
			`g.yaml:21:3: pots.chilli: no "mix", expected mix: the mix it is filled with`,
		}},
		{"key twice", "    size: 38 L", "    size: 38 L\n    size: 40 L", []string{
			`g.yaml:24:5: pots.chilli.size: given twice, found first on line 23, expected one of the two`,
		}},
		{"pot twice", "  trough:\n", "  chilli:\n", []string{
			`g.yaml:28:3: pots.chilli: given twice, found first on line 21, expected one of the two`,
		}},
		{"empty value", "    mix: light\n    size: 38 L", "    mix:\n    size: 38 L", []string{
			`g.yaml:22:5: pots.chilli.mix: nothing there, expected a value, or no such key at all`,
		}},
		{"list for a text", "  name: Test", "  name: [Test]", []string{
			`g.yaml:2:3: site.name: the wrong kind of value, found a list, expected a name of at most 80 characters on one line`,
		}},
		{"text for a mapping", "supply:\n  flow: 30 L/h", "supply: 30 L/h", []string{
			`g.yaml:42:9: supply: the wrong kind of value, found "30 L/h", expected the supply as KEY: VALUE lines`,
		}},
		{"mapping for a list", "    plants:\n      - crop: chilli", "    plants:\n      crop: chilli", []string{
			`g.yaml:24:5: pots.chilli.plants: the wrong kind of value, found KEY: VALUE lines, expected a list of plants, each with a crop`,
		}},
		{"no unit", "size: 38 L", "size: 38", []string{
			`g.yaml:23:11: pots.chilli.size: no unit, found "38", expected a volume in L or gal, such as 75 L, or DIAMETER x HEIGHT, such as 46 cm x 45 cm`,
		}},
		{"no unit in a flow", "flow: 30 L/h", "flow: 30", []string{
			`g.yaml:43:9: supply.flow: no unit, found "30", expected a flow in L/h, L/min, gal/h or gal/min, such as 2 L/h`,
		}},
		{"unknown unit", "elevation: 45 m", "elevation: 45 yd", []string{
			`g.yaml:5:14: site.elevation: unknown unit "yd", found "45 yd", expected a height in m, cm, ft or in, such as 45 m`,
		}},
		{"unit of something else", "depth: 10 cm", "depth: 10 L", []string{
			`g.yaml:27:21: pots.chilli.probes.top.depth: unknown unit "L", found "10 L", expected a length in cm, mm, m, in or ft, such as 12 cm`,
		}},
		{"decimal comma", "elevation: 45 m", "elevation: 45,5 m", []string{
			`g.yaml:5:14: site.elevation: a comma in a number (write a decimal point), found "45,5 m", expected a height in m, cm, ft or in, such as 45 m`,
		}},
		{"decimal comma in braces", "chilli: 4 x 2 L/h", "chilli: 4 x 0,5 gal/h", []string{
			`g.yaml:37:23: lines.one.waters.chilli: a comma in a number (write a decimal point), found "4 x 0,5 gal/h", expected a flow in L/h, L/min, gal/h or gal/min, such as 2 L/h`,
		}},
		{"decimal comma in braces, more keys", "depth: 10 cm", "depth: 10,5 cm", []string{
			`g.yaml:27:21: pots.chilli.probes.top.depth: a comma in a number (write a decimal point), found "10,5 cm", expected a length in cm, mm, m, in or ft, such as 12 cm`,
		}},
		{"another unit, too deep", "depth: 10 cm", "depth: 34 in", []string{
			`g.yaml:27:21: pots.chilli.probes.top.depth: a probe below the floor, found 86.4 cm, written "34 in", expected less than the mix's depth, 37.1 cm`,
		}},
		{"another unit, out of range", "elevation: 45 m", "elevation: 45000 ft", []string{
			`g.yaml:5:14: site.elevation: out of range, found "45000 ft", expected -430 m to 9000 m, about -1411 ft to 29528 ft`,
		}},
		{"another unit of the supply", "flow: 30 L/h", "flow: 1 gal/h", []string{
			`g.yaml:37:5: lines.one.waters: its emitters need more than the supply carries, found 8 L/h, expected at most 3.8 L/h, written "1 gal/h"`,
			`g.yaml:40:5: lines.two.waters: its emitters need more than the supply carries, found 8 L/h, expected at most 3.8 L/h, written "1 gal/h"`,
		}},
		{"not a number", "n: 1.6", "n: .nan", []string{
			`g.yaml:14:10: mixes.light.retention.n: not a number, found ".nan", expected a shape, 0 to 20`,
		}},
		{"infinity", "alpha: 0.15 /cm", "alpha: .inf /cm", []string{
			`g.yaml:13:14: mixes.light.retention.alpha: not a number, found ".inf /cm", expected an inverse length in /cm or /m, such as 0.15 /cm`,
		}},
		{"too large a number", "elevation: 45 m", "elevation: 1e999 m", []string{
			`g.yaml:5:14: site.elevation: too large a number, found "1e999 m", expected a height in m, cm, ft or in, such as 45 m`,
		}},
		{"unit after a plain number", "n: 1.6", "n: 1.6 cm", []string{
			`g.yaml:14:10: mixes.light.retention.n: something after the number, found "1.6 cm", expected a shape, 0 to 20, with no unit`,
		}},
		{"out of range", "supply:\n", "sample-every: 1 d\nsupply:\n", []string{
			`g.yaml:42:15: sample-every: out of range, found "1 d", expected 5 s to 15 min`,
		}},
		{"latitude", "latitude: 40.64", "latitude: 140.64", []string{
			`g.yaml:3:13: site.latitude: out of range, found "140.64", expected a latitude in decimal degrees, north positive, -90 to 90, such as 40.64`,
		}},
		{"sign and letter", "latitude: 40.64", "latitude: -40.64 S", []string{
			`g.yaml:3:13: site.latitude: a sign and a letter, found "-40.64 S", expected a latitude in decimal degrees, north positive, -90 to 90, such as 40.64`,
		}},
		{"time zone", "time-zone: Europe/Athens", "time-zone: Europe/Atlantis", []string{
			`g.yaml:6:14: site.time-zone: unknown time zone, found "Europe/Atlantis", expected a name of the IANA time zone database, such as Europe/Athens`,
		}},
		{"local time zone", "time-zone: Europe/Athens", "time-zone: Local", []string{
			`g.yaml:6:14: site.time-zone: not a time zone, found "Local", expected a name of the IANA time zone database, such as Europe/Athens`,
		}},
		{"pot's name", "  chilli:\n    mix", "  Chilli Pot:\n    mix", []string{
			`g.yaml:21:3: pots: not a name for a pot, found "Chilli Pot", expected up to 48 small letters, digits and inner hyphens, such as "chilli-pot"`,
		}},
		{"unknown mix", "    mix: light\n    size: 38 L", "    mix: ligth\n    size: 38 L", []string{
			`g.yaml:22:10: pots.chilli.mix: unknown mix, found "ligth", expected "light"`,
		}},
		{"unknown crop", "crop: chilli", "crop: chili peper", []string{
			`g.yaml:25:15: pots.chilli.plants.1.crop: unknown crop, found "chili peper", expected one of aubergine, basil, broccoli, bush bean, chard, chilli, cucumber, lettuce, onion, potato, strawberry, sweet pepper, tomato, or one of your own under crops:`,
		}},
		{"unknown crop, nothing near", "crop: chilli", "crop: rhododendron", []string{
			`g.yaml:25:15: pots.chilli.plants.1.crop: unknown crop, found "rhododendron", expected one of aubergine, basil, broccoli, bush bean, chard, chilli, cucumber, lettuce, onion, potato, strawberry, sweet pepper, tomato, or one of your own under crops:`,
		}},
		{"unknown zone", "waters: { chilli:", "waters: { chili:", []string{
			`g.yaml:37:22: lines.one.waters.chili: unknown zone, found "chili", expected "chilli"`,
		}},
		{"pot of several zones", "      trough-a: 4", "      trough: 4", []string{
			`g.yaml:41:15: lines.two.waters.trough: a pot of several zones, found "trough", expected one of its zones: trough-a, trough-b`,
		}},
		{"zone on two lines", "      trough-a: 4 x 2 L/h", "      trough-a: 4 x 2 L/h\n      chilli: 2 x 2 L/h", []string{
			`g.yaml:42:15: lines.two.waters.chilli: a zone on two lines, found "chilli", expected one line; "one" waters it already`,
		}},
		{"hand-tended and on a line", "    mix: light\n    size: 38 L", "    mix: light\n    size: 38 L\n    hand-tended: yes", []string{
			`g.yaml:24:18: pots.chilli.hand-tended: tended by hand and on a line, found line "one", expected one of the two`,
		}},
		{"nobody waters it", ", hand-tended: yes", "", []string{
			`g.yaml:33:7: pots.trough.zones.b: nothing waters it, expected trough-b under waters of a line, or hand-tended: yes`,
		}},
		{"zone keys beside zones", "    size: 75 L", "    size: 75 L\n    plants: [{ crop: basil }]", []string{
			`g.yaml:31:5: pots.trough.plants: stands beside zones, expected it under the zone it belongs to`,
		}},
		{"shares", "b: { share: 50 %", "b: { share: 40 %", []string{
			`g.yaml:31:5: pots.trough.zones: the shares of the zones do not make a whole pot, found 90.0 %, expected 100 %`,
		}},
		{"some shares", "b: { share: 50 %, ", "b: { ", []string{
			`g.yaml:31:5: pots.trough.zones: some zones have a share and some have none, found 1 of 2, expected a share for all or for none`,
		}},
		{"size in three ways", "size: 38 L", "size: { volume: 38 L, diameter: 60 cm, height: 40 cm }", []string{
			`g.yaml:23:5: pots.chilli.size: the volume does not fit the diameter and height, which hold 113.1 L, expected 75 L, or 46 cm x 45 cm, or their parts`,
		}},
		{"size of half a taper", "size: 38 L", "size: { volume: 38 L, top-diameter: 60 cm }", []string{
			`g.yaml:23:5: pots.chilli.size: a tapered pot needs both top-diameter and bottom-diameter, expected 75 L, or 46 cm x 45 cm, or their parts`,
		}},
		{"size of a barn", "size: 38 L", "size: 300 cm x 300 cm", []string{
			`g.yaml:23:11: pots.chilli.size: no pot is of this size, found 21205.8 L, written "300 cm x 300 cm", expected 1 L to 2000 L`,
		}},
		{"probe below the floor", "depth: 10 cm", "depth: 38 cm", []string{
			`g.yaml:27:21: pots.chilli.probes.top.depth: a probe below the floor, found 38 cm, expected less than the mix's depth, 37.1 cm`,
		}},
		{"input", "input: 0x48/0", "input: 0x4c/0", []string{
			`g.yaml:27:35: pots.chilli.probes.top.input: no such input, found "0x4c/0", expected ADDRESS/CHANNEL of a converter, 0x48 to 0x4B and 0 to 3, such as 0x48/0, or BUS/ADDRESS/CHANNEL`,
		}},
		{"input of another kind", "input: 0x48/0", "input: 12", []string{
			`g.yaml:27:35: pots.chilli.probes.top.input: not an input, found "12", expected ADDRESS/CHANNEL of a converter, 0x48 to 0x4B and 0 to 3, such as 0x48/0, or BUS/ADDRESS/CHANNEL`,
		}},
		{"two probes on one input", "input: 0x48/0 }", "input: 0x48/0 }\n      deep: { depth: 30 cm, input: 0x48/0 }", []string{
			`g.yaml:28:36: pots.chilli.probes.deep.input: two probes on one input, found 0x48/0, expected an input that probe "chilli-top" does not use`,
		}},
		{"two lines on one pin", "valve: { pin: 27 }", "valve: { pin: 17 }", []string{
			`g.yaml:39:5: lines.two.valve: two lines on one valve, found pin 17, expected a valve that line "one" does not use`,
		}},
		{"two lines on one node", "valve: { pin: 17 }\n    waters: { chilli: 4 x 2 L/h }\n  two:\n    valve: { pin: 27 }", "valve: { remote: east }\n    waters: { chilli: 4 x 2 L/h }\n  two:\n    valve: { remote: east }", []string{
			`g.yaml:36:5: lines.one.valve: a remote device and no broker, expected broker: with its url`,
			`g.yaml:39:5: lines.two.valve: two lines on one valve, found node "east", expected a valve that line "one" does not use`,
		}},
		{"pin and node", "valve: { pin: 27 }", "valve: { pin: 27, remote: east }", []string{
			`g.yaml:39:5: lines.two.valve: both a pin and a remote node, expected one of the two`,
		}},
		{"no valve", "valve: { pin: 27 }", "valve: { active-low: yes }", []string{
			`g.yaml:39:5: lines.two.valve: neither a pin nor a remote node, expected pin: NUMBER or remote: NODE`,
		}},
		{"pin of a fraction", "valve: { pin: 27 }", "valve: { pin: 27.5 }", []string{
			`g.yaml:39:19: lines.two.valve.pin: not a whole number, found "27.5", expected a pin number, 0 to 1023`,
		}},
		{"board without its chip and bus", "supply:\n", "hardware: { kind: board }\nsupply:\n", []string{
			`g.yaml:36:5: lines.one.valve: no GPIO chip, expected chip here, or gpio-chip under hardware`,
			`g.yaml:39:5: lines.two.valve: no GPIO chip, expected chip here, or gpio-chip under hardware`,
			`g.yaml:42:1: hardware: no "i2c-bus", expected the bus the probes' converters are on, such as /dev/i2c-1`,
		}},
		{"more emitters than the supply carries", "chilli: 4 x 2 L/h", "chilli: 16 x 2 L/h", []string{
			`g.yaml:37:5: lines.one.waters: its emitters need more than the supply carries, found 32 L/h, expected at most 30 L/h`,
		}},
		{"no supply", "supply:\n  flow: 30 L/h\n", "", []string{
			`g.yaml:1:1: supply: no "supply", expected it where there are lines, with the flow it carries`,
		}},
		{"longer than the limit", "valve: { pin: 27 }", "valve: { pin: 27 }\n    max-on: 2 h", []string{
			`g.yaml:40:13: lines.two.max-on: longer than the garden's limit, found 2 h, expected at most 90 min`,
		}},
		{"reserve without tank", "flow: 30 L/h", "flow: 30 L/h\n  tank-reserve: 5 L", []string{
			`g.yaml:44:17: supply.tank-reserve: a reserve without a tank, expected tank beside it`,
		}},
		{"reserve over tank", "flow: 30 L/h", "flow: 30 L/h\n  tank: 100 L\n  tank-reserve: 120 L", []string{
			`g.yaml:45:17: supply.tank-reserve: the reserve is not under the tank's volume, found 120 L, expected less than 100 L`,
		}},
		{"hours", "flow: 30 L/h", "flow: 30 L/h\n  hours: [5 to 9, 06:00-06:00, 05:00-25:00]", []string{
			`g.yaml:44:11: supply.hours.1: not a window of the day, found "5 to 9", expected a window of the day as FROM-TO, such as 05:00-09:30`,
			`g.yaml:44:19: supply.hours.2: an empty window, found "06:00-06:00", expected two different times; leave hours out to allow every hour`,
			`g.yaml:44:32: supply.hours.3: not a window of the day, found "05:00-25:00", expected a window of the day as FROM-TO, such as 05:00-09:30`,
		}},
		{"theta", "theta-r: 10 %", "theta-r: 90 %", []string{
			`g.yaml:11:16: mixes.light.retention.theta-r: residual water is not under the porosity, found 90 %, expected less than theta-s, 88 %`,
		}},
		{"n", "n: 1.6", "n: 1", []string{
			`g.yaml:14:10: mixes.light.retention.n: the shape n is too small, found 1, expected over 1`,
		}},
		{"key of another model", "n: 1.6", "n: 1.6\n      lambda: 0.4", []string{
			`g.yaml:15:15: mixes.light.retention.lambda: belongs to another model, expected alpha and n with the van-genuchten model`,
		}},
		{"key the model needs", "      n: 1.6\n", "", []string{
			`g.yaml:9:5: mixes.light.retention: no "n", expected it with the van-genuchten model`,
		}},
		{"unknown model", "model: van-genuchten", "model: van-genucten", []string{
			`g.yaml:10:14: mixes.light.retention.model: unknown word, found "van-genucten", expected "van-genuchten"`,
		}},
		{"one point", "        - { volts: 1.3 V, water: 60 % }\n", "", []string{
			`g.yaml:17:7: mixes.light.calibration.points: the wrong number of points for two-point, found 1, expected exactly 2`,
		}},
		{"two points at one voltage", "volts: 1.3 V", "volts: 2.5 V", []string{
			`g.yaml:17:7: mixes.light.calibration.points: two points share a voltage or a water fraction, found 2.5 V 10 % and 2.5 V 60 %, expected different ones`,
		}},
		{"a curve that turns", "method: two-point\n      points:", "method: interpolated\n      points:\n        - { volts: 2 V, water: 5 % }", []string{
			`g.yaml:17:7: mixes.light.calibration.points: the points turn, expected water that only rises or only falls with the voltage`,
		}},
		{"linear with points", "method: two-point", "method: linear", []string{
			`g.yaml:15:5: mixes.light.calibration: no "slope", expected it with the linear method`,
			`g.yaml:15:5: mixes.light.calibration: no "intercept", expected it with the linear method`,
			`g.yaml:17:7: mixes.light.calibration.points: belongs to another method, expected slope and intercept with linear`,
		}},
		{"refill over stop", "    mix: light\n    size: 38 L", "    mix: light\n    size: 38 L\n    refill: 50 %\n    stop: 45 %", []string{
			`g.yaml:24:13: pots.chilli.refill: the refill point is not under the stop point, found 50 %, expected less than 45 %`,
		}},
		{"refill over capacity", "    mix: light\n    size: 38 L", "    mix: light\n    size: 38 L\n    refill: 50 %\n    capacity: 48 %", []string{
			`g.yaml:24:13: pots.chilli.refill: the refill point is not under the capacity, found 50 %, expected less than 48 %`,
		}},
		{"capacity over porosity", "    mix: light\n    size: 38 L", "    mix: light\n    size: 38 L\n    capacity: 92 %", []string{
			`g.yaml:24:15: pots.chilli.capacity: the capacity is over the mix's porosity, found 92 %, expected at most 88 %`,
		}},
		{"a pot's refill over a zone's stop", "    size: 75 L\n    zones:\n      a: { share: 50 %,", "    size: 75 L\n    refill: 50 %\n    zones:\n      a: { share: 50 %, stop: 40 %,", []string{
			`g.yaml:31:13: pots.trough.refill: the refill point is not under the stop point, found 50 %, expected less than 40 %`,
		}},
		{"planted", "- crop: chilli", "- crop: chilli\n        planted: 15.4.2026", []string{
			`g.yaml:26:18: pots.chilli.plants.1.planted: not a day, found "15.4.2026", expected a day as YEAR-MONTH-DAY, such as 2026-04-15`,
		}},
		{"no such day", "- crop: chilli", "- crop: chilli\n        planted: 2026-02-30", []string{
			`g.yaml:26:18: pots.chilli.plants.1.planted: not a day, found "2026-02-30", expected a day as YEAR-MONTH-DAY, such as 2026-04-15`,
		}},
		{"own crop's stages", "supply:\n", "crops:\n  sorrel: { kc-initial: 0.7, kc-mid: 1, kc-end: 0.9, stages: [20 d, 30 d], depletion: 20 %, height: 0.3 m, canopy: 0.1 m2 }\nsupply:\n", []string{
			`g.yaml:43:54: crops.sorrel.stages: the wrong number of stages, found 2, expected 4: initial, development, mid and late`,
		}},
		{"label over 100", "supply:\n", "products:\n  p: { form: soluble, label: 50-40-20 }\nsupply:\n", []string{
			`g.yaml:43:30: products.p.label: a label that sums to 110 %, found "50-40-20", expected N-P2O5-K2O in percent, such as 20-10-20, together at most 100`,
		}},
		{"liquid without density", "supply:\n", "products:\n  p: { form: liquid, label: 3-1-2 }\nsupply:\n", []string{
			`g.yaml:43:3: products.p: no "density", expected it for a liquid, from the label: its litres must become grams`,
		}},
		{"unknown product", "    size: 38 L", "    size: 38 L\n    feed: { products: [blue] }", []string{
			`g.yaml:24:24: pots.chilli.feed.products.1: unknown product, found "blue", expected a product that is defined`,
		}},
		{"a feed and no plants", "b: { share: 50 %,", "b: { share: 50 %, feed: { products: [{ product: p }] },", []string{
			`g.yaml:33:25: pots.trough.zones.b.feed: a feed and no plants, expected plants in that zone`,
			`g.yaml:33:44: pots.trough.zones.b.feed.products.1: unknown product, found "p", expected a product that is defined`,
		}},
		{"two ways of feeding", "    size: 38 L", "    size: 38 L\n    feed: { products: [blue], every-watering: 50 ppm, every: 7 d }", []string{
			`g.yaml:24:24: pots.chilli.feed.products.1: unknown product, found "blue", expected a product that is defined`,
			`g.yaml:24:62: pots.chilli.feed.every: a word about feeds at intervals beside every-watering, expected one or the other: with every watering the strength is every-watering's and the amount the watering's`,
		}},
		{"weak feed too strong", "    size: 38 L", "    size: 38 L\n    feed: { products: [blue], every-watering: 150 ppm }", []string{
			`g.yaml:24:47: pots.chilli.feed.every-watering: out of range, found "150 ppm", expected 20 ppm to 100 ppm`,
		}},
		{"injector of nothing", "valve: { pin: 27 }", "valve: { pin: 27 }\n    injector: { convention: added }", []string{
			`g.yaml:40:5: lines.two.injector: neither a ratio nor premixed, expected ratio: 1:100 or premixed: yes`,
		}},
		{"even burst", "supply:\n", "hardware: { kind: bench, burst: 4 }\nsupply:\n", []string{
			`g.yaml:42:33: hardware.burst: an even burst has no middle, found 4, expected an odd count`,
		}},
		{"long name", "      b: {", "      " + "bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb: {", []string{
			`g.yaml:33:7: pots.trough.zones.bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb: too long a name, found 55 letters in "trough-bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb…", expected at most 48`,
		}},
		{"clash of joined names", "  trough:\n", "  trough-a:\n    mix: light\n    size: 38 L\n    hand-tended: yes\n  trough:\n", []string{
			`g.yaml:36:7: pots.trough.zones.a: two zones share one name, found "trough-a", expected another name than that of pots.trough-a`,
		}},
		{"several at once, by place", "    size: 38 L", "    size: 38\n    colour: red\n    exposure: windy", []string{
			`g.yaml:23:11: pots.chilli.size: no unit, found "38", expected a volume in L or gal, such as 75 L, or DIAMETER x HEIGHT, such as 46 cm x 45 cm`,
			`g.yaml:24:5: pots.chilli: unknown key of a pot, found "colour", expected one of name, mix, size, plants, probes, thermometer, hand-tended, exposure, capacity, lower-limit, refill, stop, leaching, feed, zones`,
			`g.yaml:25:15: pots.chilli.exposure: unknown word, found "windy", expected "windy-paved"`,
		}},
		{"column after a two-byte letter", "  name: Test", "  name: \"Tést\" \n  Ünit: x", []string{
			`g.yaml:3:3: site: unknown key of a site, found "Ünit", expected one of name, id, latitude, longitude, elevation, time-zone, coastal`,
		}},

		{"broken YAML", "mixes:\n", "mixes: [\n", []string{
			`g.yaml:20:1: not YAML: ',' or ']' must be specified, found "pots", expected KEY: VALUE lines`,
		}},
		{"tab", "  name: Test", "\tname: Test", []string{
			`g.yaml:2:1: a tab can't indent, expected spaces, as many as the lines beside it have`,
		}},
		{"anchor and alias", "    mix: light\n    size: 38 L", "    mix: &m light\n    size: *m", []string{
			`g.yaml:22:10: anchors and aliases are not used in a garden file, found "&", expected the value itself`,
			`g.yaml:23:11: anchors and aliases are not used in a garden file, found "*", expected the value itself`,
		}},
		{"tag", "size: 38 L", "size: !!str 38 L", []string{
			`g.yaml:23:11: tags and directives are not used in a garden file, found "!!str", expected the value itself`,
		}},
		{"merge", "    size: 38 L", "    size: 38 L\n    <<: { mix: x }", []string{
			`g.yaml:24:5: anchors and aliases are not used in a garden file, found "<<", expected the value itself`,
		}},
		{"composed key", "    size: 38 L", "    ? [a]\n    : 38 L", []string{
			`g.yaml:23:5: composed keys are not used in a garden file, found "?", expected KEY: VALUE`,
		}},
		{"second document", "supply:\n", "---\nsupply:\n", []string{
			`g.yaml:42:1: a second document, found "---", expected one garden in a file`,
		}},
		{"NUL", "name: Test", "name: Te\x00st", []string{
			`g.yaml:2:11: a character that has no place in a garden file, found U+0000, expected printable UTF-8 text`,
		}},
		{"not UTF-8", "name: Test", "name: Te\xffst", []string{
			`g.yaml:2:11: a character that has no place in a garden file, found byte 0xFF, expected printable UTF-8 text`,
		}},
		{"direction mark", "name: Test", "name: Te\u202est", []string{
			`g.yaml:2:11: a character that has no place in a garden file, found U+202E, expected printable UTF-8 text`,
		}},
		{"lone carriage return", "name: Test", "name: Te\rst", []string{
			`g.yaml:2:11: a character that has no place in a garden file, found U+000D, expected printable UTF-8 text`,
		}},
	}
}

package analysis

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// plainSurvey is a good survey; the tests below break it in one place each.
const plainSurvey = `title = "Rear wall"
tolerance_m = 0.003

[air]
temperature_c = 21.5
humidity_percent = 45

[panel]
sequence = "quadratic residue"
prime = 7
periods = 1
design_frequency_hz = 1000
well_width_m = 0.040
fin_thickness_m = 0.005
height_m = 0.60
cap_m = 0.010
back_m = 0.005

[source]
position_m = [0.0, 2.0, 0.0]

[room]
floor_m = -0.9

[sweep]
low_hz = 50
high_hz = 20000
seconds = 2

[gate]
start_s = 0.004
end_s = 0.008

[[position]]
name = "arc+30"
mic_m = [0.5, 0.866, 0.0]
empty = "empty/arc+30.wav"
panel = "panel/arc+30.wav"

[[position]]
name = "arc-30"
angle_deg = -30
distance_m = 1.0
empty = "empty/arc-30.wav"
panel = ["panel/arc-30 a.wav", "panel/arc-30 b.wav"]
`

var badSurveys = []struct {
	name     string
	old, new string // the edit of plainSurvey; nothing replaced stands for the whole file
	want     string
}{
	// What is written is not TOML.
	{"decimal comma", "0.040", "0,040", `s.toml:13:17: found text that can't be read as TOML (expected newline but got U+002C ','), expected key = value; write decimals with a point, 0.04 rather than 0,04`},
	{"no quotes", `"Rear wall"`, `Rear wall`, `s.toml:1:9: found text that can't be read as TOML (unexpected character U+0052 'R' at start of value), expected key = value; put text between straight double quotes`},
	{"curly quotes", `"Rear wall"`, `“Rear wall”`, `s.toml:1:9: found text that can't be read as TOML (unexpected character U+00E2 'â' at start of value), expected key = value; put text between straight double quotes`},
	{"backslashes", `"empty/arc+30.wav"`, `"empty\arc+30.wav"`, `s.toml:37:15: found text that can't be read as TOML (invalid escape character U+0061 'a'), expected key = value; write / between folders, also on Windows`},
	{"key twice", "prime = 7", "prime = 7\nprime = 11", `s.toml:11:1: found key prime is already defined, expected each key and table once; keep one of the two`},
	{"table twice", "[room]", "[air]\nempty_c = 21\n[room]", `s.toml:22:2: found table air already exists, expected each key and table once; keep one of the two`},
	{"cut short", "back_m = 0.005\n", "back_m =", `s.toml:17:9: found text that can't be read as TOML (unexpected character U+000A at start of value), expected key = value; write the value after the equals sign`},
	{"bracket open", "[0.0, 2.0, 0.0]", "[0.0, 2.0, 0.0", `s.toml:22:1: found text that can't be read as TOML (expected ',' or ']' after array value), expected key = value; look at the quotes, brackets and equals signs here and on the line before`},
	{"Latin-1", `"Rear wall"`, "\"R\xfcckwand\"", `s.toml:1:11: found the byte 0xFC, expected UTF-8 text; save the survey as plain text in UTF-8`},
	{"a recording", "", "RIFF\x24\x00\x00\x00WAVEfmt ", `s.toml:1:6: found the byte 0x00, expected UTF-8 text; save the survey as plain text in UTF-8`},
	{"empty", "", "", `s.toml:1:1: panel.well_width_m: found no [panel], expected more than 0 and at most 0.5 metres; add well_width_m to [panel]`},

	// Keys and tables.
	{"slip in a key", "well_width_m", "well_widht_m", `s.toml:13:1: panel.well_widht_m: found an unknown key, expected a key of [panel]; did you mean well_width_m?`},
	{"key without its unit", "humidity_percent", "humidity", `s.toml:6:1: air.humidity: found an unknown key, expected a key of [air]; did you mean humidity_percent?`},
	{"other unit in the key", "well_width_m = 0.040", "well_width_mm = 40", `s.toml:13:1: panel.well_width_mm: found an unknown key, expected a key of [panel]; did you mean well_width_m?`},
	{"capitals", "title", "Title", `s.toml:1:1: Title: found an unknown key, expected a key of the top of the file; did you mean title?`},
	{"key in the wrong table", "[air]", "[air]\nprime = 7", `s.toml:5:1: air.prime: found an unknown key, expected a key of [air]; it belongs in [panel]`},
	{"top key below a table", "[air]", "[air]\ntolerance_m = 0.002", `s.toml:5:1: air.tolerance_m: found an unknown key, expected a key of [air]; it belongs at the top of the file, before the first [table]`},
	{"no such key", "[source]", "[source]\ncolour = 3", `s.toml:20:1: source.colour: found an unknown key, expected a key of [source]; it may be position_m`},
	{"line break in a key", "[source]", "[source]\n\"a\\nb\" = 3", `s.toml:20:1: source.a?b: found an unknown key, expected a key of [source]; it may be position_m`},
	{"slip in a table", "[panel]", "[pannel]", `s.toml:8:2: pannel: found an unknown table, expected a table of the survey; did you mean [panel]?`},
	{"no such table", "[air]", "[weather]", `s.toml:4:2: weather: found an unknown table, expected a table of the survey; write one of [air], [panel], [source], [room], [sweep], [gate], [row], [[position]], [[seat]]`},
	{"single brackets", "[[position]]", "[position]", `s.toml:34:2: position: found [position], expected [[position]]; write double brackets, one such block for each microphone position`},
	{"double brackets", "[source]", "[[source]]", `s.toml:19:3: source: found [[source]], expected [source]; write single brackets, since there is only one`},
	{"table inside a table", "[air]", "[air.day]", `s.toml:4:2: air.day: found an unknown table, expected a table of the survey; did you mean [air]?`},
	{"no table", "[panel]", "panel = 3\n[panel]", `s.toml:8:1: air.panel: found an unknown key, expected a key of [air]; it belongs in a [[position]]`},
	{"positions as a number", "[air]", "position = 3\n[air]", `s.toml:4:1: position: found 3, expected [[position]] blocks; write one [[position]] for each microphone position`},

	// Wrong types.
	{"number as text", "0.040", `"0,040"`, `s.toml:13:1: panel.well_width_m: found "0,040", expected more than 0 and at most 0.5 metres; write the number without quotes, with a decimal point`},
	{"number as a list", "0.040", "[0.040]", `s.toml:13:1: panel.well_width_m: found [0.040], expected more than 0 and at most 0.5 metres; write one number`},
	{"broken prime", "prime = 7", "prime = 7.0", `s.toml:10:1: panel.prime: found 7.0, expected a whole number from 3 to 1024; write it without quotes and without a decimal point`},
	{"date as the title", `"Rear wall"`, "2024-05-01", `s.toml:1:1: title: found 2024-05-01, expected one line of text in quotes; write it between double quotes, without line breaks`},
	{"two coordinates", "[0.0, 2.0, 0.0]", "[0.0, 2.0]", `s.toml:20:1: source.position_m: found [0.0, 2.0], expected three numbers [x, y, z] in metres; give x to the right, y out of the panel, z up`},
	{"text as coordinate", "[0.0, 2.0, 0.0]", `[0.0, "2", 0.0]`, `s.toml:20:20: source.position_m: found coordinate 2 of [0.0, "2", 0.0], expected a number; write the number without quotes, with a decimal point`},
	{"number as a file", `"panel/arc+30.wav"`, "30", `s.toml:38:1: position[1].panel: found 30, expected the path of a WAV file in quotes, or a list of such paths; write it between double quotes, with / between folders`},
	{"number among files", `"panel/arc-30 b.wav"`, "30", `s.toml:45:32: position[2].panel: found ["panel/arc-30 a.wav", 30], expected the path of a WAV file in quotes, or a list of such paths; write it between double quotes, with / between folders`},
	{"line break in a name", `"arc+30"`, `"arc\n30"`, `s.toml:35:1: position[1].name: found "arc\n30", expected one line of text in quotes; write it between double quotes, without line breaks`},

	// Values out of range: wrong unit or sign.
	{"tolerance in millimetres", "tolerance_m = 0.003", "tolerance_m = 3", `s.toml:2:1: tolerance_m: found 3, expected more than 0 and at most 0.05 metres; is this in millimetres? then write 0.003`},
	{"tolerance 0", "tolerance_m = 0.003", "tolerance_m = 0", `s.toml:2:1: tolerance_m: found 0, expected more than 0 and at most 0.05 metres; check the value and its unit`},
	{"width in centimetres", "0.040", "4.0", `s.toml:13:1: panel.well_width_m: found 4.0, expected more than 0 and at most 0.5 metres; is this in centimetres? then write 0.04`},
	{"width in millimetres", "0.040", "40", `s.toml:13:1: panel.well_width_m: found 40, expected more than 0 and at most 0.5 metres; is this in millimetres? then write 0.04`},
	{"height in centimetres", "0.60", "60", `s.toml:15:1: panel.height_m: found 60, expected more than 0 and at most 5 metres; is this in centimetres? then write 0.6`},
	{"nan", "0.040", "nan", `s.toml:13:1: panel.well_width_m: found nan, expected more than 0 and at most 0.5 metres; check the value and its unit`},
	{"inf", "0.60", "inf", `s.toml:15:1: panel.height_m: found inf, expected more than 0 and at most 5 metres; check the value and its unit`},
	{"minus", "back_m = 0.005", "back_m = -0.005", `s.toml:17:1: panel.back_m: found -0.005, expected 0 to 0.5 metres; write it without the minus sign`},
	{"Fahrenheit", "21.5", "71.6", `s.toml:5:1: air.temperature_c: found 71.6, expected -20 to 50 degrees Celsius; is this in degrees Fahrenheit? then write 22`},
	{"kelvin", "21.5", "294.65", `s.toml:5:1: air.temperature_c: found 294.65, expected -20 to 50 degrees Celsius; is this in kelvin? then write 21.5`},
	{"humidity", "humidity_percent = 45", "humidity_percent = 145", `s.toml:6:1: air.humidity_percent: found 145, expected 0 to 100 percent; check the value and its unit`},
	{"speed", "[air]", "[air]\nspeed_of_sound_m_s = 34.3", `s.toml:5:1: air.speed_of_sound_m_s: found 34.3, expected 300 to 380 metres per second; check the value and its unit`},
	{"design in kilohertz", "design_frequency_hz = 1000", "design_frequency_hz = 1", `s.toml:12:1: panel.design_frequency_hz: found 1, expected 20 to 20000 hertz; is this in kilohertz? then write 1000`},
	{"wells too deep", "design_frequency_hz = 1000", "design_frequency_hz = 20", `s.toml:12:1: panel.design_frequency_hz: found 20, which makes a well 4.9 metres deep, expected wells of at most 2 metres; check the value and its unit`},
	{"source in centimetres", "[0.0, 2.0, 0.0]", "[0, 200, 0]", `s.toml:20:18: source.position_m: found 200 for coordinate 2, expected -20 to 20 metres; is this in centimetres? then write 2`},
	{"gate in milliseconds", "end_s = 0.008", "end_s = 8", `s.toml:32:1: gate.end_s: found 8, expected 0 to 1 seconds; is this in milliseconds? then write 0.008`},
	{"gate backwards", "end_s = 0.008", "end_s = 0.003", `s.toml:32:1: gate.end_s: found 0.003, expected more than start_s, 0.004; count both from the emission of the sound`},

	// The panel.
	{"no sequence", "sequence = \"quadratic residue\"\n", "", `s.toml:8:2: panel.sequence: found nothing, expected "quadratic residue" or "primitive root"; add sequence to [panel]`},
	{"another sequence", `"quadratic residue"`, `"QRD"`, `s.toml:9:1: panel.sequence: found "QRD", expected "quadratic residue" or "primitive root"; leave it out and give depths_m for any other panel`},
	{"no prime", "prime = 7\n", "", `s.toml:8:2: panel.prime: found nothing, expected an odd prime number; add prime to [panel]`},
	{"not a prime", "prime = 7", "prime = 9", `s.toml:10:1: panel.prime: found 9, expected an odd prime number; use 7 or 11`},
	{"even", "prime = 7", "prime = 2", `s.toml:10:1: panel.prime: found 2, expected a whole number from 3 to 1024; check the value`},
	{"too many periods", "periods = 1", "periods = 65", `s.toml:11:1: panel.periods: found 65, expected a whole number from 1 to 64; check the value`},
	{"too many wells", "prime = 7\nperiods = 1", "prime = 1021\nperiods = 2", `s.toml:11:1: panel.periods: found 2 periods of 1021 wells, expected at most 1024 wells; check prime and periods`},
	{"no design frequency", "design_frequency_hz = 1000\n", "", `s.toml:8:2: panel.design_frequency_hz: found nothing, expected 20 to 20000 hertz; add design_frequency_hz to [panel]`},
	{"two wells fewer", "design_frequency_hz = 1000", "depths_m = [0, 0.025, 0.098, 0.049, 0.049]", `s.toml:12:1: panel.depths_m: found 5 depths, expected 7 wells for prime 7, or one more with the closing zero; list every well of every period, or leave sequence and prime out`},
	{"one period's depths", "periods = 1", "periods = 2\ndepths_m = [0, 0.025, 0.098, 0.049, 0.049, 0.098, 0.025]", `s.toml:12:1: panel.depths_m: found 7 depths, expected 14: 2 periods of 7 wells, or one more with the closing zero; list every well of every period, or leave sequence and prime out`},
	{"primitive root closed", `"quadratic residue"`, "\"primitive root\"\ndepths_m = [0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1]", `s.toml:10:1: panel.depths_m: found 7 depths, expected 6 wells for prime 7; list every well of every period, or leave sequence and prime out`},
	{"depths that do not repeat", "sequence = \"quadratic residue\"\nprime = 7\nperiods = 1", "periods = 2\ndepths_m = [0, 0.1, 0, 0.2]", `s.toml:9:1: panel.periods: found 2 periods, but 4 depths that do not repeat so often, expected depths_m to list every well of every period; list them all, or leave periods out`},
	{"depth in centimetres", "periods = 1", "depths_m = [0, 2.5, 9.8, 4.9, 4.9, 9.8, 2.5]", `s.toml:11:16: panel.depths_m: found 2.5 for well 2, expected 0 to 2 metres; is this in centimetres? then write 0.025`},
	{"depth with a minus", "periods = 1", "depths_m = [0,\n  -0.025]", `s.toml:12:3: panel.depths_m: found -0.025 for well 2, expected 0 to 2 metres; write it without the minus sign`},
	{"depth as text", "periods = 1", `depths_m = [0, "0.025"]`, `s.toml:11:16: panel.depths_m: found well 2 of [0, "0.025"], expected a number; write the number without quotes, with a decimal point`},
	{"no depths", "periods = 1", "depths_m = []", `s.toml:11:1: panel.depths_m: found 0 depths, expected 1 to 1024; list every well's depth`},
	{"one depth without brackets", "periods = 1", "depths_m = 0.1", `s.toml:11:1: panel.depths_m: found 0.1, expected a list of numbers, each 0 to 2 metres; write them in square brackets, with commas between`},
	{"no width", "well_width_m = 0.040\n", "", `s.toml:8:2: panel.well_width_m: found nothing, expected more than 0 and at most 0.5 metres; add well_width_m to [panel]`},
	{"no fins", "fin_thickness_m = 0.005\n", "", `s.toml:8:2: panel.fin_thickness_m: found nothing, expected 0 to 0.1 metres; add fin_thickness_m to [panel]`},
	{"no height", "height_m = 0.60\n", "", `s.toml:8:2: panel.height_m: found nothing, expected more than 0 and at most 5 metres; add height_m to [panel]`},
	{"closed wells", "cap_m = 0.010", "cap_m = 0.3", `s.toml:16:1: panel.cap_m: found 0.3, expected less than half of height_m, 0.3 metres; check both: the wells need some height`},
	{"wide panel", "prime = 7\nperiods = 1\ndesign_frequency_hz = 1000\nwell_width_m = 0.040", "prime = 101\nperiods = 1\ndesign_frequency_hz = 1000\nwell_width_m = 0.4", `s.toml:13:1: panel.well_width_m: found 0.4, which makes a panel 40.91 metres wide, expected at most 20 metres; check well_width_m, fin_thickness_m and periods`},

	// Places.
	{"no source", "[source]\nposition_m = [0.0, 2.0, 0.0]\n", "", `s.toml:1:1: source.position_m: found no [source], expected the loudspeaker's place [x, y, z] in metres; add position_m to [source]`},
	{"source behind", "[0.0, 2.0, 0.0]", "[0.0, -2.0, 0.0]", `s.toml:20:1: source.position_m: found [0.0, -2.0, 0.0], which is not in front of the panel, expected a place in front of it, y more than 0; y points out of the panel, away from the wall: check its sign`},
	{"source inside", "[0.0, 2.0, 0.0]", "[0.0, 0.0, 0.0]", `s.toml:20:1: source.position_m: found [0.0, 0.0, 0.0], which is on the panel's front face, expected a place in front of it, y more than 0; y points out of the panel, away from the wall: check its sign`},
	{"source in a well", "[0.0, 2.0, 0.0]", "[0.0, -0.01, 0.0]", `s.toml:20:1: source.position_m: found [0.0, -0.01, 0.0], which is inside the panel, expected a place in front of it, y more than 0; y points out of the panel, away from the wall: check its sign`},
	{"microphone behind", "[0.5, 0.866, 0.0]", "[0.5, -0.866, 0.0]", `s.toml:36:1: position[1].mic_m: found [0.5, -0.866, 0.0], which is not in front of the panel, expected a place in front of it, y more than 0; y points out of the panel, away from the wall: check its sign`},
	{"microphone on the front", "[0.5, 0.866, 0.0]", "[0.1, 0.0, 0.0]", `s.toml:36:1: position[1].mic_m: found [0.1, 0.0, 0.0], which is on the panel's front face, expected a place in front of it, y more than 0; y points out of the panel, away from the wall: check its sign`},
	{"microphone far away", "[0.5, 0.866, 0.0]", "[15, 15, 0.0]", `s.toml:36:1: position[1].mic_m: found [15, 15, 0.0], expected a place at most 20 metres from the middle of the panel's front face; check the values and their unit`},
	{"microphone at the source", "[0.5, 0.866, 0.0]", "[0.0, 2.0, 0.005]", `s.toml:36:1: position[1].mic_m: found [0.0, 2.0, 0.005], the loudspeaker's own place, expected a place away from source.position_m; check both`},
	{"angle and place", "mic_m = [0.5, 0.866, 0.0]", "mic_m = [0.5, 0.866, 0.0]\nangle_deg = 30", `s.toml:37:1: position[1].angle_deg: found angle_deg beside mic_m, expected mic_m, or angle_deg and distance_m; keep one of the two`},
	{"no place", "mic_m = [0.5, 0.866, 0.0]\n", "", `s.toml:34:3: position[1].mic_m: found nothing, expected mic_m, or angle_deg and distance_m; add mic_m to this [[position]]`},
	{"angle alone", "distance_m = 1.0\n", "", `s.toml:40:3: position[2].distance_m: found nothing, expected more than 0 and at most 20 metres; add distance_m to this [[position]]`},
	{"distance alone", "angle_deg = -30\n", "", `s.toml:40:3: position[2].angle_deg: found nothing, expected -90 to 90 degrees; add angle_deg to this [[position]]`},
	{"angle beyond", "angle_deg = -30", "angle_deg = -91", `s.toml:42:1: position[2].angle_deg: found -91, expected -90 to 90 degrees; check the value and its unit`},
	{"distance 0", "distance_m = 1.0", "distance_m = 0", `s.toml:43:1: position[2].distance_m: found 0, expected more than 0 and at most 20 metres; check the value and its unit`},
	{"distance in centimetres", "distance_m = 1.0", "distance_m = 100", `s.toml:43:1: position[2].distance_m: found 100, expected more than 0 and at most 20 metres; is this in centimetres? then write 1`},

	// The room.
	{"floor without minus", "floor_m = -0.9", "floor_m = 0.9", `s.toml:23:1: room.floor_m: found 0.9, expected at most -0.3 metres, the panel's lower edge; count from the middle of the panel's front face, and check the sign`},
	{"floor through the panel", "floor_m = -0.9", "floor_m = -0.2", `s.toml:23:1: room.floor_m: found -0.2, expected at most -0.3 metres, the panel's lower edge; count from the middle of the panel's front face, and check the sign`},
	{"ceiling through the panel", "floor_m = -0.9", "ceiling_m = 0.2", `s.toml:23:1: room.ceiling_m: found 0.2, expected at least 0.3 metres, the panel's upper edge; count from the middle of the panel's front face, and check the sign`},
	{"left wall on the right", "floor_m = -0.9", "left_m = 2.0", `s.toml:23:1: room.left_m: found 2.0, expected at most -0.16 metres, the panel's left edge; count from the middle of the panel's front face, and check the sign`},
	{"wall inside the panel", "floor_m = -0.9", "behind_m = -0.05", `s.toml:23:1: room.behind_m: found -0.05, expected at most -0.1031 metres, the panel's back; count from the middle of the panel's front face, and check the sign`},
	{"source beyond the wall", "floor_m = -0.9", "behind_m = 1.5", `s.toml:20:1: source.position_m: found y = 2, not inside room.behind_m = 1.5, expected a place on the panel's side of that surface; check both`},
	{"source under the floor", "[0.0, 2.0, 0.0]", "[0.0, 2.0, -1.0]", `s.toml:20:1: source.position_m: found z = -1, not inside room.floor_m = -0.9, expected a place on the panel's side of that surface; check both`},
	{"microphone beyond the wall", "floor_m = -0.9", "right_m = 0.4", `s.toml:36:1: position[1].mic_m: found x = 0.5, not inside room.right_m = 0.4, expected a place on the panel's side of that surface; check both`},
	{"microphone at an angle beyond the wall", "floor_m = -0.9", "left_m = -0.45", `s.toml:43:1: position[2].distance_m: found x = -0.5, not inside room.left_m = -0.45, expected a place on the panel's side of that surface; check both`},

	// The sweep.
	{"sweep incomplete", "seconds = 2\n", "", `s.toml:25:2: sweep.seconds: found nothing, expected more than 0 and at most 600 seconds; add seconds to [sweep]`},
	{"sweep backwards", "low_hz = 50\nhigh_hz = 20000", "low_hz = 20000\nhigh_hz = 50", `s.toml:27:1: sweep.high_hz: found 50, expected more than low_hz, 20000; exchange them, or check both`},
	{"sweep twice", "seconds = 2", "seconds = 2\nfile = \"sweep.wav\"", `s.toml:26:1: sweep.low_hz: found low_hz beside file, expected low_hz, high_hz and seconds, or file; keep one of the two`},
	{"sweep file list", "low_hz = 50\nhigh_hz = 20000\nseconds = 2", "file = [\"a.wav\", \"b.wav\"]", `s.toml:26:1: sweep.file: found ["a.wav", "b.wav"], expected the path of one WAV file in quotes; write it between double quotes`},
	{"loopback is the microphone", "seconds = 2", "seconds = 2\nloopback_channel = 1", `s.toml:35:3: position[1].channel: found the microphone in channel 1, expected another channel than sweep.loopback_channel; give each its own`},
	{"channel 0", "tolerance_m = 0.003", "channel = 0", `s.toml:2:1: channel: found 0, expected a whole number from 1 to 64; check the value`},

	// Positions.
	{"no position", plainSurvey[strings.Index(plainSurvey, "[[position]]"):], "", `s.toml:1:1: position: found no [[position]], expected one for each microphone position; add them at the end of the survey`},
	{"no name", "name = \"arc+30\"\n", "", `s.toml:34:3: position[1].name: found nothing, expected a name of its own; add name to this [[position]]`},
	{"blank name", `"arc+30"`, `" "`, `s.toml:35:1: position[1].name: found " ", expected one line of text in quotes; write it between double quotes, without line breaks`},
	{"one name twice", `"arc-30"`, `"arc+30"`, `s.toml:41:1: position[2].name: found "arc+30", expected a name of its own; the position in line 34 has this name already`},
	{"no panel", "panel = \"panel/arc+30.wav\"\n", "", `s.toml:34:3: position[1].panel: found nothing, expected the recording with the panel; add panel to this [[position]]`},
	{"no take", `["panel/arc-30 a.wav", "panel/arc-30 b.wav"]`, "[]", `s.toml:45:1: position[2].panel: found nothing, expected the recording with the panel; add panel to this [[position]]`},
	{"panel is empty", `"panel/arc+30.wav"`, `"empty/arc+30.wav"`, `s.toml:38:1: position[1].panel: found "arc+30.wav", which is a take of empty already, expected every take to be a recording of its own; name the right file, or leave it out`},
	{"one take twice", `"panel/arc-30 b.wav"`, `"./panel/arc-30 a.wav"`, `s.toml:45:1: position[2].panel: found "arc-30 a.wav", which is a take of panel already, expected every take to be a recording of its own; name the right file, or leave it out`},
}

func TestBadSurveys(t *testing.T) {
	for _, c := range badSurveys {
		t.Run(c.name, func(t *testing.T) {
			text := c.new
			if c.old != "" {
				if !strings.Contains(plainSurvey, c.old) {
					t.Fatalf("%q is not in the plain survey", c.old)
				}
				text = strings.Replace(plainSurvey, c.old, c.new, 1)
			}
			_, err := ParseSurvey([]byte(text), "s.toml")
			if err == nil {
				t.Fatal("no error")
			}
			if err.Error() != c.want {
				t.Errorf("\n got %s\nwant %s", err, c.want)
			}
		})
	}
}

// The contract's example, as it stands there.
func TestExampleSurvey(t *testing.T) {
	got, err := LoadSurvey("testdata/survey/example.toml")
	if err != nil {
		t.Fatal(err)
	}
	// n² mod 13 · 343.2/(2·13·1000): 13.2 mm a step.
	depths := []float64{0, 0.0132, 0.0528, 0.1188, 0.0396, 0.1584, 0.132, 0.132, 0.1584, 0.0396, 0.1188, 0.0528, 0.0132}
	want := &Survey{
		Path: "testdata/survey/example.toml", Title: "Rear wall, first panel", ToleranceM: 0.003, Channel: 1,
		Air: AirInput{TemperatureC: 21.5, HumidityPercent: 45, SpeedOfSoundMS: Unknown(), EmptyC: Unknown(), FlatC: Unknown(), PanelC: Unknown()},
		Panel: Panel{Sequence: "quadratic residue", Prime: 13, Periods: 1, DesignFrequencyHz: 1000, DepthsM: depths,
			WellWidthM: 0.040, FinThicknessM: 0.005, HeightM: 0.60, CapM: 0.010, BackM: 0.005},
		SourceM: [3]float64{0, 2, 0},
		Room:    []Surface{{"floor", -0.9}},
		Sweep:   &Sweep{LowHz: 50, HighHz: 20000, Seconds: 2},
		Gate:    GateInput{StartS: Unknown(), EndS: Unknown()},
		Positions: []SurveyPosition{{Name: "arc+30", MicM: [3]float64{0.5, 0.866, 0}, Channel: 1, Line: 34,
			Empty: []string{"testdata/survey/empty/arc+30.wav"}, Flat: []string{"testdata/survey/flat/arc+30.wav"}, Panel: []string{"testdata/survey/panel/arc+30.wav"}}},
	}
	compareSurveys(t, got, want)
	// 13 wells of 40 mm and 14 fins of 5 mm; the deepest well 158.4 mm, its back 5 mm.
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"width", got.Panel.WidthM(), 0.590},
		{"depth", got.Panel.OuterDepthM(), 0.1634},
		{"first well", got.Panel.WellCentreM(0), -0.270},
		{"middle well", got.Panel.WellCentreM(6), 0},
		{"last well", got.Panel.WellCentreM(12), 0.270},
	} {
		if math.Abs(c.got-c.want) > 1e-12 { // rounding alone
			t.Errorf("%s: got %g m, want %g", c.what, c.got, c.want)
		}
	}
}

func TestEveryKey(t *testing.T) {
	got, err := LoadSurvey("testdata/survey/full.toml")
	if err != nil {
		t.Fatal(err)
	}
	step := 343.2 / (2 * 7 * 1000)
	period := []float64{step, 3 * step, 2 * step, 6 * step, 4 * step, 5 * step} // 3^n mod 7
	want := &Survey{
		Path: "testdata/survey/full.toml", Title: "Every key", ToleranceM: 0.002, Channel: 2,
		Air: AirInput{TemperatureC: 21.5, HumidityPercent: 45, SpeedOfSoundMS: Unknown(), EmptyC: 21, FlatC: 21.4, PanelC: 22.1},
		Panel: Panel{Sequence: "primitive root", Prime: 7, Periods: 2, DesignFrequencyHz: 1000, DepthsM: slices.Concat(period, period),
			WellWidthM: 0.040, HeightM: 0.60, BackM: 0.005},
		SourceM: [3]float64{-0.6, 1.9, 0},
		Room:    []Surface{{"floor", -0.9}, {"ceiling", 1.5}, {"left", -2}, {"right", 2.25}, {"behind", -0.2}},
		Sweep:   &Sweep{File: "testdata/survey/sweep.wav", LoopbackChannel: 1},
		Gate:    GateInput{StartS: 0.004, EndS: 0.0085},
		Positions: []SurveyPosition{
			{Name: "arc+30", MicM: [3]float64{0.5, math.Sqrt(0.75), 0}, Channel: 2, Line: 38,
				Empty: []string{"testdata/survey/takes/empty 1.wav", "testdata/survey/takes/empty 2.wav"},
				Flat:  []string{"testdata/survey/takes/flat.wav"},
				Panel: []string{"testdata/survey/takes/panel 1.wav", "testdata/survey/takes/panel 2.wav"}},
			{Name: "arc-90", MicM: [3]float64{-1, 0, 0}, Channel: 3, Line: 46, Panel: []string{"/elsewhere/panel.wav"}},
		},
		Warnings: []Warning{{Code: "grazing", Where: "arc-90",
			Text: "The microphone stands in the plane of the panel's front: the reflection there is weak, and a small error of place counts much."}},
	}
	compareSurveys(t, got, want)
}

// compareSurveys compares all exported fields, numbers to a part in 10¹²: rounding alone.
func compareSurveys(t *testing.T, got, want *Survey) {
	t.Helper()
	near := cmp.Comparer(func(a, b float64) bool {
		return a == b || math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= 1e-12*max(1, math.Abs(a))
	})
	nums := cmp.Transformer("Num", func(n Num) float64 { return float64(n) })
	if diff := cmp.Diff(want, got, near, nums, cmpopts.IgnoreUnexported(Survey{}), cmpopts.EquateEmpty()); diff != "" {
		t.Errorf("want (-), got (+):\n%s", diff)
	}
}

// edit returns plainSurvey with pairs of old and new text replaced.
func edit(t *testing.T, pairs ...string) []byte {
	t.Helper()
	text := plainSurvey
	for i := 0; i < len(pairs); i += 2 {
		if !strings.Contains(text, pairs[i]) {
			t.Fatalf("%q is not in the plain survey", pairs[i])
		}
		text = strings.Replace(text, pairs[i], pairs[i+1], 1)
	}
	return []byte(text)
}

func TestDepths(t *testing.T) {
	step := 343.2 / (2 * 7 * 1000)
	quadratic := []float64{0, step, 4 * step, 2 * step, 2 * step, 4 * step, step}
	for _, c := range []struct {
		name  string
		edits []string
		panel Panel
	}{
		{"quadratic residue", nil, Panel{Sequence: "quadratic residue", Prime: 7, Periods: 1, DesignFrequencyHz: 1000, DepthsM: quadratic}},
		{"two periods", []string{"periods = 1", "periods = 2"},
			Panel{Sequence: "quadratic residue", Prime: 7, Periods: 2, DesignFrequencyHz: 1000, DepthsM: slices.Concat(quadratic, quadratic)}},
		{"depths win over the sequence", []string{"design_frequency_hz = 1000", "depths_m = [0, 0.02, 0.1, 0.05, 0.05, 0.1, 0.02]"},
			Panel{Sequence: "quadratic residue", Prime: 7, Periods: 1, DesignFrequencyHz: Unknown(), DepthsM: []float64{0, 0.02, 0.1, 0.05, 0.05, 0.1, 0.02}}},
		{"closing zero", []string{"periods = 1", "depths_m = [0, 0.02, 0.1, 0.05, 0.05, 0.1, 0.02, 0]"},
			Panel{Sequence: "quadratic residue", Prime: 7, Periods: 1, DesignFrequencyHz: 1000, DepthsM: []float64{0, 0.02, 0.1, 0.05, 0.05, 0.1, 0.02, 0}}},
		{"depths alone", []string{"sequence = \"quadratic residue\"\nprime = 7\nperiods = 1\ndesign_frequency_hz = 1000", "depths_m = [0.1, 0.05, 0]"},
			Panel{Sequence: "explicit depths", Periods: 1, DesignFrequencyHz: Unknown(), DepthsM: []float64{0.1, 0.05, 0}}},
		{"depths that repeat", []string{"sequence = \"quadratic residue\"\nprime = 7\nperiods = 1", "periods = 2\ndepths_m = [0.1, 0, 0.1, 0]"},
			Panel{Sequence: "explicit depths", Periods: 2, DesignFrequencyHz: 1000, DepthsM: []float64{0.1, 0, 0.1, 0}}},
		{"a flat panel", []string{"sequence = \"quadratic residue\"\nprime = 7\nperiods = 1", "depths_m = [0]"},
			Panel{Sequence: "explicit depths", Periods: 1, DesignFrequencyHz: 1000, DepthsM: []float64{0}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := ParseSurvey(edit(t, c.edits...), "s.toml")
			if err != nil {
				t.Fatal(err)
			}
			c.panel.WellWidthM, c.panel.FinThicknessM, c.panel.HeightM, c.panel.CapM, c.panel.BackM = 0.040, 0.005, 0.60, 0.010, 0.005
			compareSurveys(t, &Survey{Panel: got.Panel}, &Survey{Panel: c.panel})
		})
	}
}

// What editors and other hands do to a file without changing its meaning.
func TestForms(t *testing.T) {
	want, err := ParseSurvey([]byte(plainSurvey), "s.toml")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		text string
	}{
		{"byte order mark", "\xef\xbb\xbf" + plainSurvey},
		{"DOS line ends", strings.ReplaceAll(plainSurvey, "\n", "\r\n")},
		{"no last line end", strings.TrimSuffix(plainSurvey, "\n")},
		{"quoted keys", strings.ReplaceAll(plainSurvey, "prime =", `"prime" =`)},
		{"one take as a list", strings.ReplaceAll(plainSurvey, `"empty/arc-30.wav"`, `["empty/arc-30.wav"]`)},
		{"path with dots", strings.ReplaceAll(plainSurvey, `"empty/arc-30.wav"`, `"./panel/../empty/arc-30.wav"`)},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := ParseSurvey([]byte(c.text), "s.toml")
			if err != nil {
				t.Fatal(err)
			}
			compareSurveys(t, got, want)
		})
	}
	t.Run("positions in a list", func(t *testing.T) {
		head := plainSurvey[:strings.Index(plainSurvey, "[[position]]")]
		list := `position = [{name = "arc+30", mic_m = [0.5, 0.866, 0.0], empty = "empty/arc+30.wav", panel = "panel/arc+30.wav"},
 {name = "arc-30", angle_deg = -30, distance_m = 1.0, empty = "empty/arc-30.wav", panel = ["panel/arc-30 a.wav", "panel/arc-30 b.wav"]}]
`
		got, err := ParseSurvey([]byte(list+head), "s.toml")
		if err != nil {
			t.Fatal(err)
		}
		for i := range got.Positions {
			got.Positions[i].Line = want.Positions[i].Line
		}
		compareSurveys(t, got, want)
	})
}

// A column counts characters, not bytes, and from behind a byte order mark.
func TestErrorColumn(t *testing.T) {
	text := "\xef\xbb\xbfsource.position_m = [0, 2, 0]\r\nair = {\"temperature_c\" = 20, \"fläche\" = 1, x = 2}\r\n"
	_, err := ParseSurvey([]byte(text), "müll.toml")
	want := "müll.toml:2:30: air.fläche: found an unknown key, expected a key of [air]; it may be temperature_c, humidity_percent, speed_of_sound_m_s, empty_c, flat_c, panel_c"
	if err == nil || err.Error() != want {
		t.Errorf("\n got %v\nwant %s", err, want)
	}
	var fault *SurveyError
	if !errors.As(err, &fault) || fault.Line != 2 || fault.Column != 30 || fault.Key != "air.fläche" || fault.File != "müll.toml" {
		t.Errorf("got %#v", fault)
	}
	text = "title = \"ü\" x\n"
	_, err = ParseSurvey([]byte(text), "s.toml")
	if !errors.As(err, &fault) || fault.Line != 1 || fault.Column != 13 {
		t.Errorf("syntax error: got %v, want line 1, column 13", err)
	}
}

func TestSurveyWarnings(t *testing.T) {
	for _, c := range []struct {
		name  string
		edits []string
		want  []Warning
	}{
		{"none", nil, nil},
		{"no air", []string{"temperature_c = 21.5\nhumidity_percent = 45\n", ""}, []Warning{{"air", "air",
			"The survey gives neither temperature nor speed of sound: 20 °C assumed. 5 °C more or less shift every arrival by almost 1 %. Add temperature_c to [air]."}}},
		{"a fraction", []string{"humidity_percent = 45", "humidity_percent = 0.45"}, []Warning{{"humidity", "air.humidity_percent",
			"A humidity of 0.45 % is unlikely. If it is a fraction, write humidity_percent = 45."}}},
		{"very dry", []string{"humidity_percent = 45", "humidity_percent = 5"}, []Warning{{"humidity", "air.humidity_percent",
			"A humidity of 5 % is unlikely indoors. Check humidity_percent."}}},
		{"no cap", []string{"cap_m = 0.010\n", ""}, []Warning{{"panel", "panel.cap_m",
			"panel.cap_m is not given: taken as thick as the fins, 0.005 m. Add it to [panel]."}}},
		{"near", []string{"[0.5, 0.866, 0.0]", "[0.1, 0.3, 0.0]", "distance_m = 1.0", "distance_m = 0.2"}, []Warning{{"near", "arc+30 and 1 more",
			"The microphone stands nearer to the panel than three times its depth, 0.31 m (builders' rule for the nearest seat): what it hears there is not what a seat hears."}}},
		{"shared", []string{`"panel/arc-30 b.wav"`, `"panel/arc+30.wav"`}, []Warning{{"same-file", "arc-30 (as arc+30: arc+30.wav)",
			"One recording is given for two microphone places. Check the file names."}}},
		{"two channels of one file", []string{"distance_m = 1.0", "distance_m = 1.0\nchannel = 2", `"panel/arc-30 b.wav"`, `"panel/arc+30.wav"`}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := ParseSurvey(edit(t, c.edits...), "s.toml")
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(c.want, s.Warnings); diff != "" {
				t.Errorf("want (-), got (+):\n%s", diff)
			}
		})
	}
}

func TestCheckFiles(t *testing.T) {
	folder := t.TempDir()
	for _, name := range []string{"empty/arc+30.wav", "empty/arc-30.wav", "panel/Arc+30.wav", "panel/arc-30 a.wav", "panel/arc-30 b.wav"} {
		path := filepath.Join(folder, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	file := filepath.Join(folder, "survey.toml")
	for _, c := range []struct {
		name  string
		edits []string
		want  string
	}{
		{"all there", []string{"panel/arc+30", "panel/Arc+30"}, ""},
		{"other letter case", nil, `:38:1: position[1].panel: found no file "panel/arc+30.wav", expected a WAV file; did you mean "Arc+30.wav"?`},
		{"missing", []string{"panel/arc+30", "panel/seat 1"}, `:38:1: position[1].panel: found no file "panel/seat 1.wav", expected a WAV file; check the name; paths count from the survey's folder`},
		{"in a list", []string{"panel/arc+30", "panel/Arc+30", "arc-30 b", "arc-30 take 2"},
			`:45:32: position[2].panel: found no file "panel/arc-30 take 2.wav", expected a WAV file; check the name; paths count from the survey's folder`},
		{"no folder", []string{"panel/arc+30", "panels/arc+30", "arc-30 b", "arc-30 take 2"},
			`:38:1: position[1].panel: found no folder for "panels/arc+30.wav", expected a WAV file; check the name; paths count from the survey's folder (1 more of the named files can't be used either)`},
		{"a folder", []string{"panel/arc+30.wav", "panel"}, `:38:1: position[1].panel: found the folder "panel", expected a WAV file; check the name; paths count from the survey's folder`},
		{"the sweep", []string{"panel/arc+30", "panel/Arc+30", "low_hz = 50\nhigh_hz = 20000\nseconds = 2", `file = "sweep.wav"`},
			`:26:1: sweep.file: found no file "sweep.wav", expected a WAV file; check the name; paths count from the survey's folder`},
	} {
		t.Run(c.name, func(t *testing.T) {
			if err := os.WriteFile(file, edit(t, c.edits...), 0o644); err != nil {
				t.Fatal(err)
			}
			s, err := LoadSurvey(file)
			if err != nil {
				t.Fatal(err)
			}
			got := ""
			if err := s.CheckFiles(); err != nil {
				got = strings.TrimPrefix(err.Error(), file)
			}
			if got != c.want {
				t.Errorf("\n got %s\nwant %s", got, c.want)
			}
		})
	}
}

func TestLoadSurveyErrors(t *testing.T) {
	folder := t.TempDir()
	large := filepath.Join(folder, "large.toml")
	if err := os.WriteFile(large, make([]byte, maxSurveyBytes+1), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ path, want string }{
		{filepath.Join(folder, "none.toml"), ": found no such file or directory, expected a survey file; check the path"},
		{folder, ": found is a directory, expected a survey file; check the path"},
		{large, ":1:1: found more than 2 MiB, expected a survey file, a few kilobytes of text; give the survey, not a recording"},
	} {
		if _, err := LoadSurvey(c.path); err == nil || err.Error() != c.path+c.want {
			t.Errorf("\n got %v\nwant %s%s", err, c.path, c.want)
		}
	}
}

// Small files that ask for much: each is refused, and none may take memory or time out of proportion.
func TestSurveyBounds(t *testing.T) {
	positions := func(n int) string {
		var b strings.Builder
		b.WriteString(plainSurvey[:strings.Index(plainSurvey, "[[position]]")])
		for i := range n {
			fmt.Fprintf(&b, "[[position]]\nname = \"p%d\"\nmic_m = [0.5, 0.866, 0]\npanel = \"p%d.wav\"\n", i, i)
		}
		return b.String()
	}
	if s, err := ParseSurvey([]byte(positions(maxPositions)), "s.toml"); err != nil || len(s.Positions) != maxPositions {
		t.Errorf("%d positions: %v", maxPositions, err)
	}
	for _, c := range []struct{ name, text, want string }{
		{"positions", positions(maxPositions + 1), "s.toml:40034:3: position[10001]: found more than 10000 positions, expected fewer; split the survey"},
		{"tables", strings.Repeat("[t]\n", 1<<18), "s.toml:1:2: t: found an unknown table, expected a table of the survey; write one of [air], [panel], [source], [room], [sweep], [gate], [row], [[position]], [[seat]]"},
		{"nested lists", "title = " + strings.Repeat("[", 1<<20), "s.toml:1:10009: found text that can't be read as TOML (arrays and inline tables are nested more than the maximum of 10000 levels deep), expected key = value; look at the quotes, brackets and equals signs here and on the line before"},
		{"depths", "[panel]\ndepths_m = [" + strings.Repeat("0,", 1<<16) + "]", "s.toml:2:1: panel.depths_m: found 65536 depths, expected 1 to 1024; list every well's depth"},
	} {
		if _, err := ParseSurvey([]byte(c.text), "s.toml"); err == nil || err.Error() != c.want {
			t.Errorf("%s:\n got %v\nwant %s", c.name, err, c.want)
		}
	}
}

// checkParsed holds for any input: an error says where in one line, and a survey keeps within its bounds.
func checkParsed(t interface{ Fatalf(string, ...any) }, data []byte) {
	s, err := ParseSurvey(data, "folder/s.toml")
	if err != nil {
		var fault *SurveyError
		if !errors.As(err, &fault) {
			t.Fatalf("error of type %T", err)
		}
		lines := 1 + bytes.Count(data, []byte("\n"))
		if fault.Line < 1 || fault.Line > lines || fault.Column < 1 || fault.Found == "" || fault.Expected == "" || fault.Do == "" {
			t.Fatalf("incomplete error: %#v", fault)
		}
		if strings.ContainsFunc(err.Error(), func(c rune) bool { return !unicode.IsPrint(c) }) {
			t.Fatalf("not one printable line: %q", err)
		}
		return
	}
	p := s.Panel
	if len(p.DepthsM) < 1 || len(p.DepthsM) > maxWells || p.Periods < 1 || len(s.Positions) < 1 || s.Title == "" {
		t.Fatalf("out of bounds: %+v", s)
	}
	for _, d := range slices.Concat(p.DepthsM, []float64{p.FinThicknessM, p.CapM, p.BackM}) {
		if !(d >= 0 && d <= 2) {
			t.Fatalf("a length of the panel is %g m", d)
		}
	}
	if !(p.WellWidthM > 0 && p.HeightM > 2*p.CapM && s.ToleranceM > 0 && s.SourceM[1] > 0) {
		t.Fatalf("out of bounds: %+v", s)
	}
	names := map[string]bool{}
	for _, position := range s.Positions {
		if names[position.Name] || position.Name == "" || len(position.Panel) == 0 || position.Channel < 1 || position.Line < 1 || !(position.MicM[1] >= 0) {
			t.Fatalf("position %+v", position)
		}
		names[position.Name] = true
	}
	for _, state := range []string{"", "empty", "flat", "panel"} {
		if air, err := s.Air.Resolve(state); err != nil || !(air.SpeedOfSoundMS > 300 && air.SpeedOfSoundMS < 390) {
			t.Fatalf("air of %q: %+v, %v", state, air, err)
		}
	}
}

func surveySeeds(t testing.TB) []string {
	seeds := []string{plainSurvey}
	for _, name := range []string{"example", "full"} {
		text, err := os.ReadFile("testdata/survey/" + name + ".toml")
		if err != nil {
			t.Fatal(err)
		}
		seeds = append(seeds, string(text))
	}
	return seeds
}

// Lines dropped, doubled and exchanged, and values swapped for others: never a panic.
func TestMutatedSurveys(t *testing.T) {
	seeds := surveySeeds(t)
	values := []string{"0", "-1", "7", "1e308", "nan", "-inf", "9223372036854775807", "0x10", "true", `""`, `"x"`, "[]", "[[]]", "[1,2,3]", "{}", "{a=1}",
		"2024-05-01", "07:32:00", `["a", 1]`, "", "'''", "\x00", "\xff", "#"}
	rapid.Check(t, func(t *rapid.T) {
		lines := strings.Split(rapid.SampledFrom(seeds).Draw(t, "seed"), "\n")
		for range rapid.IntRange(0, 6).Draw(t, "edits") {
			i, j := rapid.IntRange(0, len(lines)-1).Draw(t, "i"), rapid.IntRange(0, len(lines)-1).Draw(t, "j")
			switch rapid.IntRange(0, 5).Draw(t, "kind") {
			case 0:
				lines[i] = ""
			case 1:
				lines[i], lines[j] = lines[j], lines[i]
			case 2:
				lines[i] += "\n" + lines[j]
			case 3:
				key, _, _ := strings.Cut(lines[i], "=")
				lines[i] = key + "= " + rapid.SampledFrom(values).Draw(t, "value")
			case 4:
				lines[i] = rapid.StringN(0, 20, 40).Draw(t, "text")
			case 5:
				at := rapid.IntRange(0, len(lines[i])).Draw(t, "at")
				lines[i] = lines[i][:at] + string(rapid.SliceOfN(rapid.Byte(), 1, 3).Draw(t, "bytes")) + lines[i][at:]
			}
		}
		checkParsed(t, []byte(strings.Join(lines, "\n")))
	})
}

func FuzzParseSurvey(f *testing.F) {
	for _, seed := range surveySeeds(f) {
		f.Add([]byte(seed))
	}
	for _, c := range badSurveys {
		text := c.new
		if c.old != "" {
			text = strings.Replace(plainSurvey, c.old, c.new, 1)
		}
		f.Add([]byte(text))
	}
	f.Add([]byte(plainSurvey + "[row]\norder = \"order\"\n"))
	f.Add([]byte(plainSurvey + "[row]\norder = \"D I M\"\npanels = 3\nkinds = \"DI\"\ngap_m = 0.02\nparts = [5, 8]\n[[seat]]\nname = \"s\"\nplace_m = [0, 1.5, 0]\n[[seat]]\nname = \"t\"\nnearest_m = 1\nfarthest_m = 2\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		// TOML's decoder and the index of places keep some hundred bytes for each token
		if used := allocated(func() { checkParsed(t, data) }); used > 1<<20+2000*len(data) {
			t.Errorf("%d bytes allocated for %d", used, len(data))
		}
	})
}

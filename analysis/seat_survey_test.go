package analysis

import (
	"strings"
	"testing"
)

// seatSurvey is the plain survey with a seat, a measured one and an area; the tests below break it in one place each.
const seatSurvey = plainSurvey + `[[seat]]
name = "chair"
place_m = [0.1, 1.2, 0.05]

[[seat]]
name = "desk"
place_m = [0.0, 0.9, 0.0]
empty = "empty/desk.wav"
panel = ["panel/desk a.wav", "panel/desk b.wav"]

[[seat]]
name = "sofa"
nearest_m = 0.8
farthest_m = 1.7
aside_m = 0.3
height_m = -0.1
`

func TestSeatSurvey(t *testing.T) {
	s, err := ParseSurvey([]byte(seatSurvey), "s.toml")
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Seats) != 3 || len(s.Positions) != 2 {
		t.Fatalf("%d seats, %d positions", len(s.Seats), len(s.Positions))
	}
	chair, desk, sofa := s.Seats[0], s.Seats[1], s.Seats[2]
	if chair.Name != "chair" || chair.PlaceM != [3]float64{0.1, 1.2, 0.05} || chair.Area != nil || chair.Take != nil {
		t.Errorf("chair: %+v", chair)
	}
	if desk.Take == nil || len(desk.Take.Panel) != 2 || len(desk.Take.Empty) != 1 || desk.Take.MicM != desk.PlaceM || desk.Take.Channel != 1 {
		t.Errorf("desk: %+v", desk)
	}
	if sofa.Area == nil || *sofa.Area != (SeatArea{0.8, 1.7, 0.3, -0.1}) || sofa.Take != nil {
		t.Errorf("sofa: %+v", sofa)
	}
	if all := s.withSeats(); len(all.Positions) != 3 || all.Positions[2].Name != "desk" || len(s.Positions) != 2 {
		t.Errorf("with seats: %d positions", len(all.Positions))
	}
	distances, aside, height := sofa.candidatesM()
	if len(distances) != 10 || len(aside) != 7 || height != -0.1 {
		t.Errorf("candidates: %v, %v, %g", distances, aside, height)
	}
}

func TestBadSeats(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"single brackets", "[[seat]]\nname = \"chair\"", "[seat]\nname = \"chair\"", `s.toml:46:2: seat: found [seat], expected [[seat]]; write double brackets, one such block for each seat`},
		{"slip", "place_m = [0.1", "plaec_m = [0.1", `s.toml:48:1: seat[1].plaec_m: found an unknown key, expected a key of [[seat]]; did you mean place_m?`},
		{"key of a position", "place_m = [0.1, 1.2, 0.05]", "mic_m = [0.1, 1.2, 0.05]", `s.toml:48:1: seat[1].mic_m: found an unknown key, expected a key of [[seat]]; it belongs in a [[position]]`},
		{"no name", "name = \"chair\"\n", "", `s.toml:46:3: seat[1].name: found nothing, expected a name of its own; add name to this [[seat]]`},
		{"a seat's name twice", `"desk"`, `"chair"`, `s.toml:51:1: seat[2].name: found "chair", expected a name of its own; the position or seat in line 46 has this name already`},
		{"a position's name", `"chair"`, `"arc+30"`, `s.toml:47:1: seat[1].name: found "arc+30", expected a name of its own; the position or seat in line 34 has this name already`},
		{"no place", "place_m = [0.1, 1.2, 0.05]\n", "", `s.toml:46:3: seat[1].place_m: found nothing, expected place_m = [x, y, z], or an area: nearest_m and farthest_m; add place_m to this [[seat]]`},
		{"place and area", "place_m = [0.1, 1.2, 0.05]", "place_m = [0.1, 1.2, 0.05]\naside_m = 0.1", `s.toml:49:1: seat[1].aside_m: found aside_m beside place_m, expected place_m, or an area: nearest_m, farthest_m, aside_m, height_m; keep one of the two`},
		{"behind", "[0.1, 1.2, 0.05]", "[0.1, -1.2, 0.05]", `s.toml:48:1: seat[1].place_m: found [0.1, -1.2, 0.05], expected a place in front of the panel, y at least 0.1 metres; y points out of the panel, away from the wall: check its sign`},
		{"in centimetres", "[0.1, 1.2, 0.05]", "[10, 120, 5]", `s.toml:48:16: seat[1].place_m: found 120 for coordinate 2, expected -20 to 20 metres; is this in centimetres? then write 1.2`},
		{"on the loudspeaker", "[0.1, 1.2, 0.05]", "[0.0, 2.05, 0.0]", `s.toml:48:1: seat[1].place_m: found [0.0, 2.05, 0.0], the loudspeaker's own place, expected a place at least 0.1 metres away from source.position_m; check both`},
		{"under the floor", "[0.1, 1.2, 0.05]", "[0.1, 1.2, -1.0]", `s.toml:48:1: seat[1].place_m: found z = -1, not inside room.floor_m = -0.9, expected a place on the panel's side of that surface; check both`},
		{"half an area", "farthest_m = 1.7\n", "", `s.toml:56:3: seat[3].farthest_m: found nothing, expected 0.1 to 20 metres; add farthest_m to this [[seat]]`},
		{"area backwards", "farthest_m = 1.7", "farthest_m = 0.5", `s.toml:59:1: seat[3].farthest_m: found 0.5, expected more than nearest_m, 0.8; exchange them, or check both`},
		{"area under the floor", "height_m = -0.1", "height_m = -1", `s.toml:58:1: seat[3].nearest_m: found z = -1, not inside room.floor_m = -0.9, expected a place on the panel's side of that surface; check both`},
		{"aside in centimetres", "aside_m = 0.3", "aside_m = 30", `s.toml:60:1: seat[3].aside_m: found 30, expected 0 to 2 metres; is this in centimetres? then write 0.3`},
		{"recordings without the panel", "panel = [\"panel/desk a.wav\", \"panel/desk b.wav\"]\n", "", `s.toml:50:3: seat[2].panel: found nothing, expected the recording with the panel; add panel to this [[seat]]`},
		{"recordings in an area", "height_m = -0.1", "height_m = -0.1\npanel = \"panel/sofa.wav\"", `s.toml:58:1: seat[3].nearest_m: found an area with recordings, expected place_m with recordings; say with place_m where the microphone stood`},
		{"too many", "", strings.Repeat("\n[[seat]]\nname = \"x\"\nplace_m = [0, 1, 0]\n", maxSeats), `s.toml:211:3: seat[41]: found more than 40 seats, expected fewer; split the survey`},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := seatSurvey + c.new
			if c.old != "" {
				if !strings.Contains(seatSurvey, c.old) {
					t.Fatalf("%q is not in the survey", c.old)
				}
				text = strings.Replace(seatSurvey, c.old, c.new, 1)
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

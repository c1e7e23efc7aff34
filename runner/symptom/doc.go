// Package symptom says what a run shows: at each point by itself ([Read]), and over
// the whole run ([Name]), without knowing how the unit is built. It judges nothing
// anew and is pure: the same result gives the same words.
//
// What is seen at a point comes from all its readings, and, where the readings
// hang together and are off, from other points: one wrong point alone shows no
// law. What explains the most points is named first. A ratio p/q is the simplest
// fraction, with terms up to 64, that explains what was shown within the limit; it
// is named only where a ratio as simple would be met by chance at no more than one
// point in a hundred. What the bench could not show is no evidence about the unit.
//
// What each symptom usually points to (all of this is common practice, no source;
// where the arithmetic has one it stands beside the code):
//
//	symptom                      seen as                              points to
//	same relative error          E = y·f at all points that can tell  timebase; gate time, where nothing is mixed down;
//	                                                                  an input alone, where others are right
//	  … of what is mixed down    E = y·(f − k·LO)                     gate time or counting, not the timebase
//	constant error in hertz      E = c over a range                   harmonic number or internal frequency:
//	                                                                  c = Δk·LO
//	  … one step per harmonic    E = k·δ, k rising with f             local oscillator off by δ, or not locked
//	wrong ratio                  shown = f·p/q                        divider, double counting; where all inputs
//	                                                                  share it, gate or counting chain
//	no readings at all           nothing at any input, or none taken  what all inputs share; supply first
//	dead input                   no count anywhere                    connector, protection, amplifier, choice of input
//	dead above a frequency       no count from there on               roll-off, divider too slow, path above a crossover
//	dead below a frequency       no count up to there                 coupling capacitor, path below a crossover
//	dead between two frequencies no count within                      path or filter of that stretch
//	no count at some frequencies spread among others that count       comes and goes, or filters
//	needs too much level         counts from a higher level on        attenuator, protection, amplifier, trigger level
//	scatters beyond the count
//	  … in proportion to f       s/f the same                         timebase (noise, lock)
//	  … by the same counts       s/q the same                         counting, gate, trigger
//	loses cycles                 all low, another amount each time    level near the threshold, divider that slips
//	comes and goes               some readings right, others not      contact, joint, connector; the cable
//	worse the longer it is on    right at first, wrong when repeated  stage that fails when warm, or failed by then
//	drifts during the run        E/f changes steadily with time       timebase warming up, oven, regulation
//	a digit is stuck or missing  the same in all readings             display, latch or decade, reply
//	self-test fails              what the unit says of itself         the unit's manual
//	not explained                none of these
//
// Points are taken in order of frequency, so that frequency and time run together.
// Only what was read again (closing checks, repeats that prove a path, other
// measurements) tells them apart; without that a finding says that it can't tell.
package symptom

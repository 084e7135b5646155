#include "remarks_table.h"

#define PRACTICE "common practice, no source"
/* 24 liquids and polymers between salt plates, 4 cm-1, 90 %T baseline, computed from the CC0
 * optical constants of Myers et al., Appl. Spectrosc. 72 (2018) 535 and others. */
#define COMPUTED "computed from published optical constants (Myers et al. 2018)"
#define NONE WP_USABLE
#define NOTE WP_USABLE_WITH_NOTE
#define AGAIN WP_RUN_AGAIN

const struct wp_limit_row wp_limit_rows[WP_LIMITS] = {
    [WP_LIMIT_FLAT_ABOVE] = {"too-strong", "flat: at most this far above the file's own floor", 1.0,
                             "%T", NONE, 0, COMPUTED, "medium-high", "", ""},
    [WP_LIMIT_FLAT_WIDTH] = {"too-strong", "flat: over at least this width", 6.0, "cm-1", NONE, 0,
                             COMPUTED, "medium-high", "", ""},
    [WP_LIMIT_STRONG_NOTE_BANDS] = {"too-strong", "note from so many flat bands", 1.0, "bands",
                                    NOTE, 30, COMPUTED, "medium-high", "{n} cut off flat",
                                    "What is cut off flat is off scale; the rest can be read."},
    [WP_LIMIT_STRONG_ADVISE_BANDS] = {"too-strong", "advise from so many flat bands", 3.0, "bands",
                                      NOTE, 60, COMPUTED, "medium-high", "{n} cut off flat",
                                      "Rather strong: {n} cut off flat. {thin}"},
    [WP_LIMIT_STRONG_ADVISE_WIDTH] = {"too-strong", "advise from this width of flat bands", 60.0,
                                      "cm-1", NOTE, 60, COMPUTED, "medium-high", "{n} cut off flat",
                                      "Rather strong: {n} cut off flat. {thin}"},
    [WP_LIMIT_STRONG_AGAIN_BANDS] = {"too-strong", "run again from so many flat bands", 5.0,
                                     "bands", AGAIN, 60, COMPUTED, "medium-high",
                                     "{n} cut off flat", "Too strong: {n} cut off flat. {thin}"},
    [WP_LIMIT_STRONG_AGAIN_WIDTH] = {"too-strong", "run again from this width of flat bands", 150.0,
                                     "cm-1", AGAIN, 60, COMPUTED, "medium-high", "{n} cut off flat",
                                     "Too strong: {n} cut off flat. {thin}"},

    [WP_LIMIT_WEAK_NOTE] = {"too-weak", "note if the strongest band takes less of its baseline",
                            25.0, "%", NOTE, 40, PRACTICE, "high for films",
                            "strongest band takes {v} % of the light",
                            "Rather weak: the strongest band takes {v} % of the light. {more}"},
    [WP_LIMIT_WEAK_AGAIN] = {"too-weak", "run again if it takes less than this", 10.0, "%", AGAIN,
                             50, PRACTICE, "high for films",
                             "strongest band takes {v} % of the light",
                             "Too weak: the strongest band takes {v} % of the light. {more}"},
    [WP_LIMIT_WEAK_ATR] = {"too-weak", "ATR: run again if the strongest band is lower", 0.02,
                           "absorbance", AGAIN, 50, PRACTICE, "medium",
                           "strongest band takes {v} % of the light",
                           "Too weak: the strongest band takes {v} % of the light. {more}"},

    [WP_LIMIT_NOTHING_BAND] = {"no-sample", "no band of the sample higher than this", 0.03,
                               "absorbance", AGAIN, 90, PRACTICE, "high",
                               "no bands of a sample; {v} %T throughout",
                               "No bands of a sample are seen. {more}"},
    [WP_LIMIT_NOTHING_ATR] = {"no-sample", "the same for ATR", 0.01, "absorbance", AGAIN, 90,
                              PRACTICE, "medium", "no bands of a sample",
                              "No bands of a sample are seen. {more}"},
    [WP_LIMIT_NOTHING_OIL] = {"no-sample", "the same beside the oil of a mull", 0.03, "absorbance",
                              AGAIN, 89, PRACTICE, "medium", "no bands beside those of the oil",
                              "Only the oil is seen. {more}"},
    [WP_LIMIT_EMPTY_LOW] = {"no-sample", "empty beam: level at least", 95.0, "%T", AGAIN, 90,
                            PRACTICE, "high", "no bands; {v} %T throughout: the beam is empty",
                            "Nothing is in the beam. Put the sample in the holder and run again."},
    [WP_LIMIT_PLATES_LOW] = {"no-sample", "clean plates: level at least", 80.0, "%T", AGAIN, 90,
                             PRACTICE, "high",
                             "no bands; {v} %T throughout: plates without a sample",
                             "Only the plates are seen. Put the sample on and run again."},
    [WP_LIMIT_BLOCKED] = {"no-sample", "beam blocked: less than this everywhere", 3.0, "%T", AGAIN,
                          95, PRACTICE, "high", "less than {v} %T everywhere: the beam is blocked",
                          "Next to no light arrives. See that the holder sits in the beam and "
                          "nothing stands before it, then run again; if it stays so, ask staff."},

    [WP_LIMIT_BASELINE_NOTE] = {"baseline", "note below", 60.0, "%T", NOTE, 20, PRACTICE, "medium",
                                "baseline at {v} %T", "The baseline is low, at {v} %T. {clear}"},
    [WP_LIMIT_BASELINE_ADVISE] = {"baseline", "advise below", 40.0, "%T", NOTE, 50, PRACTICE,
                                  "medium", "baseline at {v} %T",
                                  "The baseline is low, at {v} %T. {clear}"},
    [WP_LIMIT_BASELINE_AGAIN] = {"baseline", "run again below", 20.0, "%T", AGAIN, 55, PRACTICE,
                                 "medium", "baseline at {v} %T",
                                 "Little light gets through: baseline at {v} %T. {clear}"},

    [WP_LIMIT_OVER] = {"over-100", "above this", 112.0, "%T", NOTE, 35,
                       "computed: a film against an empty pair of NaCl plates reads 108 rightly",
                       "high", "reads up to {v} %T",
                       "It reads up to {v} %T: take a new background, then run the sample again."},
    [WP_LIMIT_UPWARD] = {"over-100", "bands that point up by more than", 3.0, "%T", NOTE, 45,
                         PRACTICE, "high", "a band points up at {p}",
                         "A band points up at {p}: something was in the beam when the background "
                         "was taken. Take a new background, then run the sample again."},
    [WP_LIMIT_SLOPE] =
        {"slope", "light at 4000 less than this share of that at 2000 cm-1", 0.35, "ratio", NOTE,
         38, PRACTICE, "medium", "falls to {v} % of its light from 2000 to 4000 cm-1",
         "The grains are coarse and scatter the light: grind finer, then run again."},

    [WP_LIMIT_WET_LOW] = {"wet", "hump of water from", 1634.0, "cm-1", NONE, 0, COMPUTED, "medium",
                          "", ""},
    [WP_LIMIT_WET_HIGH] = {"wet", "to", 1652.0, "cm-1", NONE, 0, COMPUTED, "medium", "", ""},
    [WP_LIMIT_WET_PROMINENCE] =
        {"wet", "as prominent as this", 0.03, "absorbance", NOTE, 25, COMPUTED, "medium",
         "a broad hump at {p}: may be wet",
         "The sample may be wet: there is a broad hump at {p}. Dry it as the script says, and keep "
         "water off the plates."},
    [WP_LIMIT_WET_WIDTH] = {"wet", "as wide as this", 45.0, "cm-1", NONE, 0, COMPUTED, "medium", "",
                            ""},
    [WP_LIMIT_WET_OH] = {"wet", "with a band at 3200-3550 cm-1 of at least", 0.1, "absorbance",
                         NONE, 0, COMPUTED, "medium", "", ""},

    [WP_LIMIT_SOLVENT_RATIO] = {"solvent-left", "heights in the solvent's ratio within", 40.0, "%",
                                NOTE, 15, PRACTICE, "low", "bands as of {s}",
                                "There may be some {s} left: let the film dry in the hood."},
    [WP_LIMIT_SOLVENT_WIDTH] = {"solvent-left", "bands narrower than", 25.0, "cm-1", NONE, 0,
                                PRACTICE, "low", "", ""},
    [WP_LIMIT_SOLVENT_SHARE] = {"solvent-left", "at least this share of the strongest band", 5.0,
                                "%", NONE, 0, PRACTICE, "low", "", ""},
    [WP_LIMIT_GREASE] = {"grease", "all four bands of silicone grease at least", 0.02, "absorbance",
                         NOTE, 16, PRACTICE, "medium", "bands as of silicone grease",
                         "There may be joint grease in the sample: its bands are at 1263, 1095, "
                         "1025 and 802 cm-1."},

    [WP_LIMIT_CO2_MARK] = {"air", "carbon dioxide: grey mark from", 0.02, "absorbance", NONE, 0,
                           PRACTICE, "medium", "", ""},
    [WP_LIMIT_CO2_REMARK] = {"air", "carbon dioxide: remark above", 0.10, "absorbance", NOTE, 18,
                             PRACTICE, "medium", "carbon dioxide of the room at 2349 cm-1",
                             "The pair of bands at 2361 and 2341 cm-1 is the room's air, not the "
                             "sample. Take a new background, then run again."},
    [WP_LIMIT_VAPOUR_SIZE] = {"air", "water vapour: 1845 and 1869 lines peak to peak above", 0.01,
                              "absorbance", NOTE, 17, PRACTICE, "medium",
                              "water vapour of the room",
                              "The sharp lines at 1300-2000 and 3500-3950 cm-1 are the room's "
                              "water vapour. Take a new background, then run again."},
    [WP_LIMIT_VAPOUR_MATCH] = {"air", "and they correlate with the lines of vapour above", 0.7,
                               "ratio", NONE, 0, PRACTICE, "medium", "", ""},

    [WP_LIMIT_NOISE_NOTE] = {"noise", "note above", 0.3, "%T rms", NOTE, 22, PRACTICE, "medium",
                             "noise of {v} %T", "A little noisy ({v} %T); more scans would help."},
    [WP_LIMIT_NOISE_ADVISE] = {"noise", "advise above", 1.0, "%T rms", NOTE, 48, PRACTICE, "medium",
                               "noise of {v} %T",
                               "Noisy ({v} %T): see that the holder sits straight in the beam, "
                               "take more scans, run again. If it stays so, ask staff."},

    [WP_LIMIT_FRINGE_PERIODS] = {"fringes", "at least so many equal periods", 6.0, "periods", NONE,
                                 0, PRACTICE, "medium", "", ""},
    [WP_LIMIT_FRINGE_SIZE] = {"fringes", "peak to peak above", 2.0, "%T", NOTE, 24, PRACTICE,
                              "medium", "even ripples, one every {v} cm-1",
                              "The even ripples, one every {v} cm-1, come from a thin, even gap, "
                              "not from the sample. Do not read them as bands."},

    [WP_LIMIT_RESOLUTION] = {"settings", "resolution coarser than the lab's by a factor of", 1.9,
                             "ratio", NOTE, 28, PRACTICE, "high", "recorded at {v} cm-1 resolution",
                             "Recorded at {v} cm-1 resolution, coarser than the lab's setting. "
                             "Load the lab's method and run again."},
    [WP_LIMIT_SCANS] = {"settings", "fewer scans than this share of the lab's", 0.5, "ratio", NOTE,
                        26, PRACTICE, "high", "recorded with {n}",
                        "Recorded with {n}, fewer than the lab's setting. Load the lab's method "
                        "and run again."},
    [WP_LIMIT_RANGE] = {"range", "range short of the lab's by more than", 20.0, "cm-1", NOTE, 27,
                        PRACTICE, "high", "the range ends at {p}",
                        "The range ends at {p}, short of the lab's. Export the whole range."},
    [WP_LIMIT_UPSIDE_DOWN] = {"upside-down", "quiet stretches at this share of the range or less",
                              0.15, "ratio", AGAIN, 80, PRACTICE, "high",
                              "the bands point the wrong way for the unit in the file",
                              "The numbers do not fit their unit: transmittance and absorbance "
                              "seem to be mixed up. Export the spectrum again."},
    [WP_LIMIT_SINGLE_BEAM] = {"single-beam", "light at 4000 less than this share of the most", 0.45,
                              "ratio", AGAIN, 85, PRACTICE, "medium",
                              "a single beam, not divided by a background",
                              "This is a single beam, not a spectrum of the sample. Export the "
                              "spectrum that was divided by the background."},
    [WP_LIMIT_PROCESSED] = {"processed", "the file says so", 1.0, "count", NOTE, 10, PRACTICE,
                            "high", "processed before it was exported",
                            "The file says that the data were processed. Hand in the spectrum as "
                            "it was recorded, unless the script says otherwise."},
    [WP_LIMIT_INCOMPLETE] = {"incomplete", "fewer of the points that the file states than", 98.0,
                             "%", AGAIN, 96, PRACTICE, "high",
                             "the file is cut off: {v} % of its points are there",
                             "The file is not whole: {v} % of its points are there. Export the "
                             "spectrum again."},
};

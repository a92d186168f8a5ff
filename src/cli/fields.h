/* Setting the fields of an animal and of a device from option values. */
#ifndef LUGMARK_CLI_FIELDS_H
#define LUGMARK_CLI_FIELDS_H

#include "command.h"
#include "lugmark/err.h"
#include "lugmark/record.h"

/* Lines of an option table; the names are those of the CSV columns. */
#define LM_ANIMAL_OPTIONS                                                                          \
    {"species", 0, "WORD", "goat, sheep"}, {"breed", 0, "TEXT", "breed"},                          \
        {"sex", 0, "WORD", "female or male; doe, ewe, buck, ram, wether are taken too"},           \
        {"castrated", 0, "yes|no", "whether it is castrated"},                                     \
        {"born", 0, "DATE", "2026, 2026-03 or 2026-03-28"}, {"dam", 0, "KEY", "its mother"},       \
        {"sire", 0, "KEY", "its father"}, {"mob", 0, "MOB", "the mob it runs with"},               \
        {"status", 0, "WORD", "on-farm, sold, dead, slaughtered or lost"},                         \
    {                                                                                              \
        "status-date", 0, "DATE", "since when (default: today, when the status changes)"           \
    }

#define LM_DEVICE_OPTIONS                                                                          \
    {"eid", 0, "CODE", "electronic code, any form that lugmark decode takes"},                     \
        {"visual", 0, "NUMBER", "the printed number"},                                             \
        {"uid", 0, "HEX", "number of a 13.56 MHz chip"},                                           \
        {"form", 0, "WORD",                                                                        \
            "flag tag, button tag, loop tag, bolus, injectable, leg band, tattoo"},                \
        {"place", 0, "WORD", "left ear, right ear, rumen, leg, tail web"},                         \
        {"colour", 0, "WORD", "its colour"},                                                       \
        {"official", 0, "yes|no", "an official device, or one for management (default)"},          \
    {                                                                                              \
        "applied", 0, "DATE", "when it was put on"                                                 \
    }

/**
 * Set every field of an animal that was given as an option. An empty value clears the field.
 * @param[in,out] rec    The animal.
 * @param[out]    given  How many fields were given; may be NULL.
 * @return LM_EXIT_OK, or LM_EXIT_INPUT after saying what is wrong.
 */
int lm_fields_animal(const struct lm_args *args, struct lm_record *rec, unsigned *given);

/** The same for a device. */
int lm_fields_device(const struct lm_args *args, struct lm_device *device, unsigned *given);

/** Today, by the clock of this place. */
struct lm_date lm_today(void);

#endif

#include "lugmark/session.h"

#include <string.h>

/** One row a reason: its name, its kind, and what the person at the race must do by default. */
static const struct {
    const char *name;
    uint8_t kind, attention;
} reasons[LM_REASONS] = {
    [LM_NOT_SEEN] = {"not-seen", LM_MISSING, LM_LOOK},
    [LM_NOT_IN_REGISTER] = {"not-in-register", LM_UNMATCHED, LM_HOLD},
    [LM_SAME_ANIMAL_AGAIN] = {"same-animal-again", LM_DUPLICATE, LM_LOOK},
    [LM_TWO_ANIMALS_ONE_CODE] = {"two-animals-one-code", LM_DUPLICATE, LM_HOLD},
    [LM_TWO_ANIMALS_ONE_NUMBER] = {"two-animals-one-number", LM_DUPLICATE, LM_HOLD},
    [LM_TWO_LANES_AT_ONCE] = {"two-lanes-at-once", LM_DUPLICATE, LM_LOOK},
    [LM_OTHER_MOB] = {"other-mob", LM_UNEXPECTED, LM_HOLD},
    [LM_OTHER_LOT] = {"other-lot", LM_UNEXPECTED, LM_HOLD},
    [LM_WAS_SOLD] = {"sold", LM_UNEXPECTED, LM_HOLD},
    [LM_WAS_DEAD] = {"dead", LM_UNEXPECTED, LM_HOLD},
    [LM_WAS_SLAUGHTERED] = {"slaughtered", LM_UNEXPECTED, LM_HOLD},
    [LM_WAS_LOST] = {"lost", LM_UNEXPECTED, LM_HOLD},
    [LM_NUMBER_DIFFERS] = {"number-differs", LM_CONFLICT, LM_HOLD},
    [LM_CODES_DIFFER] = {"codes-differ", LM_CONFLICT, LM_HOLD},
    [LM_NO_READING] = {"no-reading", LM_UNREAD, LM_LOOK},
    [LM_REMOVED_DEVICE] = {"removed-device", LM_RETIRED, LM_LOOK},
    [LM_REPLACED_BY_COUNTER] = {"replaced-by-counter", LM_RETIRED, LM_LOOK},
    [LM_BAD_CHECK] = {"bad-check", LM_DOUBTFUL, LM_LOOK},
    [LM_NOT_ANIMAL] = {"not-animal", LM_DOUBTFUL, LM_LOOK},
    [LM_UNKNOWN_COUNTRY] = {"unknown-country", LM_DOUBTFUL, LM_LOOK},
    [LM_TEST_CODE] = {"test-code", LM_DOUBTFUL, LM_LOOK},
    [LM_OUT_OF_RANGE] = {"out-of-range", LM_DOUBTFUL, LM_LOOK},
    [LM_DAMAGED_TEXT] = {"damaged-text", LM_DOUBTFUL, LM_LOOK},
};

const char *lm_kind_name(enum lm_kind kind)
{
    static const char *const names[LM_KINDS] = {"missing", "unmatched", "duplicate", "unexpected",
        "conflict", "unread", "retired", "doubtful"};
    return kind < LM_KINDS ? names[kind] : "";
}

const char *lm_reason_name(enum lm_reason reason)
{
    return reason < LM_REASONS ? reasons[reason].name : "";
}

const char *lm_attention_name(enum lm_attention att)
{
    static const char *const names[] = {"go", "look", "hold"};
    return att <= LM_HOLD ? names[att] : "";
}

enum lm_kind lm_reason_kind(enum lm_reason reason)
{
    return reason < LM_REASONS ? (enum lm_kind) reasons[reason].kind : LM_KINDS;
}

enum lm_err lm_reason_parse(const char *word, enum lm_reason *reason)
{
    for (unsigned i = 0; i < LM_REASONS; i++) {
        if (strcmp(word, reasons[i].name) == 0) {
            *reason = (enum lm_reason) i;
            return LM_OK;
        }
    }
    return LM_EFRAME;
}

void lm_session_defaults(struct lm_session_options *options)
{
    options->rearm_ms = 30000;
    options->crossing_ms = 10000;
    options->together_ms = 250;
    for (unsigned i = 0; i < LM_REASONS; i++)
        options->attention[i] = reasons[i].attention;
}

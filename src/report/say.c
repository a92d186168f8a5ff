#include "lugmark/report.h"
#include "report/tongue.h"

const char *lm_reason_say(enum lm_reason reason)
{
    static const char *const words[LM_REASONS] = {
        [LM_NOT_SEEN] = N_("expected, not seen"),
        [LM_NOT_IN_REGISTER] = N_("nobody we know"),
        [LM_SAME_ANIMAL_AGAIN] = N_("came past before"),
        [LM_TWO_ANIMALS_ONE_CODE] = N_("two animals share this code"),
        [LM_TWO_ANIMALS_ONE_NUMBER] = N_("two animals share this number"),
        [LM_TWO_LANES_AT_ONCE] = N_("two lanes at once"),
        [LM_OTHER_MOB] = N_("belongs to another mob"),
        [LM_OTHER_LOT] = N_("not in this lot"),
        [LM_WAS_SOLD] = N_("register says sold"),
        [LM_WAS_DEAD] = N_("register says dead"),
        [LM_WAS_SLAUGHTERED] = N_("register says slaughtered"),
        [LM_WAS_LOST] = N_("register says lost"),
        [LM_NUMBER_DIFFERS] = N_("number and code differ"),
        [LM_CODES_DIFFER] = N_("two animals' codes in one"),
        [LM_NO_READING] = N_("tag gave no reading"),
        [LM_REMOVED_DEVICE] = N_("device recorded as removed"),
        [LM_REPLACED_BY_COUNTER] = N_("older device, since replaced"),
        [LM_BAD_CHECK] = N_("reading failed its check"),
        [LM_NOT_ANIMAL] = N_("code not for animals"),
        [LM_UNKNOWN_COUNTRY] = N_("country code unknown"),
        [LM_TEST_CODE] = N_("a test code"),
        [LM_OUT_OF_RANGE] = N_("no chip holds this"),
        [LM_DAMAGED_TEXT] = N_("text came damaged"),
    };
    return reason < LM_REASONS ? words[reason] : "";
}

enum lm_reason lm_verdict_reason(const struct lm_verdict *verdict)
{
    static const enum lm_reason weight[] = {LM_NUMBER_DIFFERS, LM_CODES_DIFFER, LM_NOT_IN_REGISTER,
        LM_WAS_SOLD, LM_WAS_DEAD, LM_WAS_SLAUGHTERED, LM_WAS_LOST, LM_TWO_ANIMALS_ONE_CODE,
        LM_OTHER_LOT, LM_OTHER_MOB, LM_TWO_ANIMALS_ONE_NUMBER, LM_TWO_LANES_AT_ONCE,
        LM_SAME_ANIMAL_AGAIN, LM_REMOVED_DEVICE, LM_REPLACED_BY_COUNTER, LM_NO_READING,
        LM_BAD_CHECK, LM_OUT_OF_RANGE, LM_DAMAGED_TEXT, LM_NOT_ANIMAL, LM_UNKNOWN_COUNTRY,
        LM_TEST_CODE, LM_NOT_SEEN};
    for (size_t i = 0; i < sizeof weight / sizeof weight[0]; i++) {
        if (verdict->reasons & (1u << weight[i]))
            return weight[i];
    }
    return LM_REASONS;
}

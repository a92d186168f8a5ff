#include "report/titles.h"
#include "report/tongue.h"

const char *lm_kind_title(enum lm_kind kind)
{
    static const char *const titles[LM_KINDS] = {
        [LM_MISSING] = N_("Expected and not seen"),
        [LM_UNMATCHED] = N_("Nobody we know"),
        [LM_DUPLICATE] = N_("Seen twice, or twice in the register"),
        [LM_UNEXPECTED] = N_("Known, but not expected here"),
        [LM_CONFLICT] = N_("Marks that contradict each other"),
        [LM_UNREAD] = N_("Known by number only, the tag gave no reading"),
        [LM_RETIRED] = N_("Devices that should no longer be worn"),
        [LM_DOUBTFUL] = N_("Readings in doubt"),
    };
    return kind < LM_KINDS ? titles[kind] : "";
}

const char *lm_explain_kind_title(enum lm_explain_kind kind)
{
    static const char *const titles[LM_EX_KINDS] = {
        [LM_EX_NEW_DEVICE] = N_("wears a new device"),
        [LM_EX_MISREAD] = N_("number misread"),
        [LM_EX_SWAPPED] = N_("devices of two animals crossed"),
        [LM_EX_SHIFTED_RUN] = N_("a stretch of a strip paired out of step"),
        [LM_EX_STRANGER] = N_("a stranger"),
        [LM_EX_FAILED_EID] = N_("there, but its code gave no reading"),
        [LM_EX_ABSENT] = N_("not there"),
    };
    return kind < LM_EX_KINDS ? titles[kind] : "";
}

const char *lm_count_kind_title(enum lm_count_kind kind)
{
    static const char *const titles[LM_COUNT_KINDS] = {
        [LM_COUNT_NOT_FOUND] = N_("Not found: in the book, due, and seen by no session"),
        [LM_COUNT_STRANGER] = N_("Strangers: codes and numbers that nobody has"),
        [LM_COUNT_CONTRADICTS] = N_("Marks that contradict each other"),
        [LM_COUNT_GONE] = N_("Seen on a day when the register says it was not here"),
        [LM_COUNT_TAKEN_BACK] = N_("Seen, but its entry was taken back since"),
        [LM_COUNT_DOUBLE] = N_("Doubles: seen in several sessions, counted once"),
        [LM_COUNT_UNREAD] = N_("Known by number only, the tag never gave a reading"),
        [LM_COUNT_NOT_COVERED] = N_("Not covered: in the book, but no session was for it"),
        [LM_COUNT_NOT_DUE] =
            N_("Not due: in the book, but it came or left about its session's day"),
        [LM_COUNT_LEFT_SINCE] = N_("Seen, and left before the end of the cut-off day"),
        [LM_COUNT_CAME_AFTER] = N_("Seen, and came after the cut-off day"),
        [LM_COUNT_LEFT_UNSEEN] = N_("On a roll and not seen: it had left, and is not in the book"),
        [LM_COUNT_ENTERED] = N_("Nobody's mark when it was seen, entered in the register since"),
    };
    return kind < LM_COUNT_KINDS ? titles[kind] : "";
}

/* What a rule may need of the animal itself, of its papers, of the race and of the lot. */
#include "race/rules_priv.h"

#include <string.h>

static enum lm_answer at_birth_holding(const struct ask *a)
{
    if (a->animal->born_here == LM_ANSWER_UNKNOWN)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "whether it was born on this holding is not known");
    if (a->animal->born_here == LM_ANSWER_NO)
        return lm_ask_say(a, LM_ANSWER_NO, "it was born on another holding");
    return LM_ANSWER_YES;
}

static enum lm_answer age_known(const struct ask *a, const struct lm_need *need)
{
    struct lm_age age = lm_age_at(a->rec->born, a->ctx->date);
    char born[LM_DATE_TEXT_SIZE];
    if (!age.known)
        return lm_ask_say(a, LM_ANSWER_NO, "its birth date is not known");
    if (age.most < need->n || age.least >= need->n)
        return LM_ANSWER_YES;
    return lm_ask_say(a, LM_ANSWER_UNKNOWN,
        "born %s: that does not say whether it is %d months old",
        lm_date_format(a->rec->born, born), need->n);
}

static enum lm_answer paper(const struct ask *a, const struct lm_need *need)
{
    if (lm_words_have(&a->ctx->papers, need->text))
        return LM_ANSWER_YES;
    if (lm_words_have(&a->ctx->no_papers, need->text))
        return lm_ask_say(a, LM_ANSWER_NO, "not there: %s", need->text);
    return lm_ask_say(a, LM_ANSWER_UNKNOWN, "say whether it is there: %s", need->text);
}

static enum lm_answer on_farm(const struct ask *a)
{
    enum lm_status status = (enum lm_status) a->rec->status;
    if (a->rec->struck)
        return lm_ask_say(a, LM_ANSWER_NO, "its entry was taken back");
    if (status != LM_ON_FARM)
        return lm_ask_say(
            a, LM_ANSWER_NO, "the register says it is %s", lm_ask_text(a, lm_status_name(status)));
    return LM_ANSWER_YES;
}

static enum lm_answer was_seen(const struct ask *a)
{
    if (a->animal->seen == LM_ANSWER_YES)
        return LM_ANSWER_YES;
    if (!a->ctx->race_over || a->animal->seen == LM_ANSWER_UNKNOWN)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "not yet seen; the session is open");
    return lm_ask_say(a, LM_ANSWER_NO, "neither read nor called at the race");
}

static enum lm_answer was_read(const struct ask *a)
{
    bool chip = false;
    for (unsigned i = 0; i < a->rec->n_devices; i++)
        chip = chip || (!a->rec->devices[i].gone && lm_device_has_chip(&a->rec->devices[i]));
    if (!chip || a->animal->read == LM_ANSWER_YES)
        return LM_ANSWER_YES;
    if (!a->ctx->race_over || a->animal->read == LM_ANSWER_UNKNOWN)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "not yet read; the session is open");
    return lm_ask_say(a, LM_ANSWER_NO, "its electronic device gave no reading at the race");
}

static enum lm_answer heads_agree(const struct ask *a)
{
    if (!a->ctx->has_heads)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "no head count was given");
    if (a->ctx->heads != a->ctx->animals)
        return lm_ask_say(a, LM_ANSWER_NO, "%u heads were counted, the lot has %u animals",
            a->ctx->heads, a->ctx->animals);
    return LM_ANSWER_YES;
}

static enum lm_answer counted_within(const struct ask *a, const struct lm_need *need)
{
    char day[LM_DATE_TEXT_SIZE];
    int32_t today = lm_date_days(a->ctx->date, 0);
    if (a->ctx->counted.year == 0 || today == INT32_MIN)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "the register knows of no count");
    if (today - lm_date_days(a->ctx->counted, 1) > need->days)
        return lm_ask_say(a, LM_ANSWER_NO, "the last count in the register is of %s",
            lm_date_format(a->ctx->counted, day));
    return LM_ANSWER_YES;
}

enum lm_answer lm_need_other(const struct ask *a, const struct lm_need *need)
{
    if (need->kind == LM_NEED_AT_BIRTH_HOLDING)
        return at_birth_holding(a);
    if (need->kind == LM_NEED_AGE_KNOWN)
        return age_known(a, need);
    if (need->kind == LM_NEED_PAPER)
        return paper(a, need);
    if (need->kind == LM_NEED_ON_FARM)
        return on_farm(a);
    if (need->kind == LM_NEED_WAS_SEEN)
        return was_seen(a);
    if (need->kind == LM_NEED_WAS_READ)
        return was_read(a);
    if (need->kind == LM_NEED_HEADS_AGREE)
        return heads_agree(a);
    return counted_within(a, need);
}

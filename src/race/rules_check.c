/* One rule asked of one animal, or of the lot. */
#include "race/rules_priv.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static void __attribute__((format(printf, 2, 0)))
write_words(const struct ask *a, const char *fmt, va_list ap)
{
    char text[2 * LM_RULE_WORDS];
    vsnprintf(text, sizeof text, fmt, ap);
    lm_text_copy(a->words, LM_RULE_WORDS, text, strlen(text));
}

const char *lm_ask_text(const struct ask *a, const char *english)
{
    return a->ctx->speech != NULL ? a->ctx->speech->text(english) : english;
}

enum lm_answer lm_ask_say(const struct ask *a, enum lm_answer answer, const char *fmt, ...)
{
    va_list ap;
    va_start(ap, fmt);
    if (a->words != NULL && a->words[0] == '\0')
        write_words(a, lm_ask_text(a, fmt), ap);
    va_end(ap);
    return answer;
}

enum lm_answer lm_ask_say_over(const struct ask *a, enum lm_answer answer, const char *fmt, ...)
{
    va_list ap;
    va_start(ap, fmt);
    if (a->words != NULL)
        write_words(a, lm_ask_text(a, fmt), ap);
    va_end(ap);
    return answer;
}

static enum lm_answer is_of_species(const struct ask *a, const struct lm_words *species)
{
    if (species->n == 0 || a->rec == NULL)
        return LM_ANSWER_YES;
    if (a->rec->species[0] == '\0')
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "its species is not known");
    return lm_words_have(species, a->rec->species) ? LM_ANSWER_YES : LM_ANSWER_NO;
}

static enum lm_answer applies(const struct ask *a, const struct lm_rule *rule)
{
    char words[LM_RULE_WORDS];
    enum lm_answer of_species = is_of_species(a, &rule->species);
    if (of_species == LM_ANSWER_NO)
        return LM_ANSWER_NO;
    enum lm_answer when = lm_when_holds(a->pack, &rule->when, a->animal, a->ctx, words);
    if (when == LM_ANSWER_NO)
        return LM_ANSWER_NO;
    if (words[0] != '\0')
        lm_ask_say(a, when, "%s", words);
    enum lm_answer but = LM_ANSWER_NO;
    if (rule->unless != NULL)
        but = lm_when_holds(a->pack, rule->unless, a->animal, a->ctx, words);
    if (but == LM_ANSWER_YES)
        return LM_ANSWER_NO;
    if (but == LM_ANSWER_UNKNOWN)
        lm_ask_say(a, but, "%s", words);
    return of_species == LM_ANSWER_YES && when == LM_ANSWER_YES && but == LM_ANSWER_NO
               ? LM_ANSWER_YES
               : LM_ANSWER_UNKNOWN;
}

static enum lm_answer only_when(const struct ask *a, const struct lm_need *need)
{
    char words[LM_RULE_WORDS];
    enum lm_answer holds = lm_when_holds(a->pack, need->only, a->animal, a->ctx, words);
    if (holds == LM_ANSWER_UNKNOWN)
        lm_ask_say(a, holds, "%s", words);
    if (holds == LM_ANSWER_NO && need->text != NULL)
        lm_ask_say_over(a, holds, "%s", need->text);
    return holds;
}

static enum lm_answer is_met(const struct ask *a, const struct lm_need *need)
{
    switch ((enum lm_need_kind) need->kind) {
    case LM_NEED_ONLY_WHEN:
        return only_when(a, need);
    case LM_NEED_OFFICIAL_DEVICE:
    case LM_NEED_ELECTRONIC_DEVICE:
    case LM_NEED_TWO_MATCHING:
    case LM_NEED_FORMS_NOT:
    case LM_NEED_VISIBLE_MATCH:
    case LM_NEED_PLACE:
    case LM_NEED_MANAGEMENT_TAGS:
    case LM_NEED_BIRTH_YEAR_COLOUR:
        return lm_need_devices(a, need);
    case LM_NEED_APPLIED_BEFORE:
    case LM_NEED_NOT_REMOVED:
    case LM_NEED_LINKED_REPLACEMENT:
    case LM_NEED_REPLACED_WITHIN:
    case LM_NEED_REPLACEMENT_COLOUR:
    case LM_NEED_DATES_IN_ORDER:
        return lm_need_history(a, need);
    case LM_NEED_NUMBER_FORMAT:
    case LM_NEED_FLOCK_OF_ORIGIN:
    case LM_NEED_DEVICES_AGREE:
    case LM_NEED_NOT_DUPLICATE:
        return lm_need_numbers(a, need);
    case LM_NEED_NOTE:
    case LM_NEED_AT_BIRTH_HOLDING:
    case LM_NEED_AGE_KNOWN:
    case LM_NEED_PAPER:
    case LM_NEED_ON_FARM:
    case LM_NEED_WAS_SEEN:
    case LM_NEED_WAS_READ:
    case LM_NEED_HEADS_AGREE:
    case LM_NEED_COUNTED_WITHIN:
    case LM_NEEDS:
        break;
    }
    return lm_need_other(a, need);
}

/* What a rule that may not apply says is that this is not known, and that it is not met. */
static enum lm_outcome judge(const struct ask *a, const struct lm_rule *rule)
{
    enum lm_answer is = applies(a, rule);
    if (is == LM_ANSWER_NO)
        return LM_OUTCOME_NONE;
    if (rule->need.kind == LM_NEED_NOTE) {
        lm_ask_say(a, is, "%s", lm_ask_text(a, rule->text));
        return is == LM_ANSWER_YES ? LM_OUTCOME_NOTE : LM_OUTCOME_UNKNOWN;
    }
    char words[LM_RULE_WORDS] = "";
    struct ask need = *a;
    need.words = words;
    enum lm_answer met = is_met(&need, &rule->need);
    if (met == LM_ANSWER_YES)
        return LM_OUTCOME_PASS;
    if (is == LM_ANSWER_YES)
        lm_ask_say_over(a, met, "%s", words[0] != '\0' ? words : lm_ask_text(a, rule->text));
    else if (words[0] != '\0')
        lm_ask_say_over(a, met, "%s; and %s", words, a->words);
    return is == LM_ANSWER_YES && met == LM_ANSWER_NO ? LM_OUTCOME_FAIL : LM_OUTCOME_UNKNOWN;
}

enum lm_outcome lm_rule_check(const struct lm_rule_pack *pack, const struct lm_rule *rule,
    const struct lm_rule_animal *animal, const struct lm_rule_context *ctx,
    struct lm_rule_result *out)
{
    memset(out, 0, sizeof *out);
    if (rule->of_lot != (animal->rec == NULL))
        return LM_OUTCOME_NONE;
    struct ask a = {pack, animal, animal->rec, ctx, out->words};
    out->outcome = judge(&a, rule);
    out->attention = lm_rule_attention(
        out->outcome, (enum lm_severity) rule->severity, (enum lm_evidence) rule->evidence);
    if (out->outcome == LM_OUTCOME_NONE || out->outcome == LM_OUTCOME_PASS)
        out->words[0] = '\0';
    return out->outcome;
}

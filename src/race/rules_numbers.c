/* What a rule may need of the official numbers. */
#include "race/rules_priv.h"

#include <stdio.h>
#include <string.h>

unsigned lm_device_marks(const struct lm_device *d, struct mark_text out[MARKS_A_DEVICE])
{
    unsigned n = 0;
    if (d->visual[0] != '\0') {
        memcpy(out[n].text, d->visual, sizeof out[n].text);
        out[n++].electronic = false;
    }
    if (lm_device_has_chip(d)) {
        lm_eid_format(d->eid, out[n].text);
        out[n++].electronic = true;
    }
    return n;
}

const char *lm_device_say(const struct lm_device *d, char out[LM_VISUAL_MAX + 1])
{
    char eid[LM_EID_TEXT_SIZE];
    const char *form = lm_device_form_name((enum lm_device_form) d->form);
    if (d->visual[0] != '\0')
        memcpy(out, d->visual, sizeof d->visual);
    else
        snprintf(out, LM_VISUAL_MAX + 1, "%s",
            lm_device_has_chip(d) ? lm_eid_format(d->eid, eid)
            : form[0] != '\0'     ? form
                                  : N_("a device without a number"));
    return out;
}

const char *lm_ask_device(
    const struct ask *a, const struct lm_device *d, char out[LM_VISUAL_MAX + 1])
{
    lm_device_say(d, out);
    return d->visual[0] != '\0' || lm_device_has_chip(d) ? out : lm_ask_text(a, out);
}

bool lm_device_code(const struct ask *a, const struct lm_device *d, char out[16])
{
    char eid[LM_EID_TEXT_SIZE];
    if (!lm_device_has_chip(d))
        return lm_number_code(a->pack, d->visual, out);
    snprintf(out, 16, "%.15s", lm_eid_format(d->eid, eid));
    return true;
}

/* The first two formats a number may be of, for the question. */
static void list(const struct ask *a, const struct lm_candidates *c, char *out, size_t size)
{
    size_t used = 0;
    out[0] = '\0';
    for (size_t i = 0; i < c->n && used < size; i++) {
        int n = snprintf(out + used, size - used, "%s%s (%s)",
            i == 0         ? ""
            : i + 1 < c->n ? ", "
                           : lm_ask_text(a, N_(" or ")),
            c->at[i]->id, c->at[i]->meaning);
        used += n > 0 ? (size_t) n : 0;
    }
}

/* One number: of one wanted format only. */
static enum lm_answer one_mark(
    const struct ask *a, const struct lm_need *need, const struct mark_text *mark)
{
    struct lm_candidates c;
    char could[LM_RULE_WORDS];
    lm_format_candidates(a->pack, a->ctx, mark->text, a->rec->species, mark->electronic, &c);
    if (c.n == 0)
        return lm_ask_say(a, LM_ANSWER_NO,
            "%s has the form of no official number that this pack "
            "knows",
            mark->text);
    list(a, &c, could, sizeof could);
    if (c.said && lm_format_match(c.at[0], mark->text) == LM_ANSWER_NO)
        return lm_ask_say(
            a, LM_ANSWER_NO, "%s is stored as %s and has another form", mark->text, could);
    if (c.n > 1)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN,
            "%s is ambiguous: this could be %s; store the tag "
            "type",
            mark->text, could);
    if (!lm_words_have(&need->formats, c.at[0]->id))
        return lm_ask_say(a, LM_ANSWER_NO, "%s is a %s", mark->text, could);
    if (c.doubt)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN,
            "%s is perhaps a %s: its beginning or its check "
            "character is not known",
            mark->text, could);
    return LM_ANSWER_YES;
}

/* A device is in order when one of its marks is: a tag with a chip may bear a short number too. */
static enum lm_answer one_device(
    const struct ask *a, const struct lm_need *need, const struct lm_device *d)
{
    struct mark_text marks[MARKS_A_DEVICE];
    char words[LM_RULE_WORDS] = "", open[LM_RULE_WORDS] = "";
    struct ask quiet = *a;
    unsigned n = lm_device_marks(d, marks);
    bool unknown = n == 0;
    for (unsigned i = 0; i < n; i++) {
        char said[LM_RULE_WORDS] = "";
        quiet.words = said;
        enum lm_answer answer = one_mark(&quiet, need, &marks[i]);
        if (answer == LM_ANSWER_YES)
            return LM_ANSWER_YES;
        unknown = unknown || answer == LM_ANSWER_UNKNOWN;
        memcpy(answer == LM_ANSWER_UNKNOWN ? open : words, said, sizeof said);
    }
    if (n == 0)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "an official device has neither number nor code");
    return lm_ask_say(a, unknown ? LM_ANSWER_UNKNOWN : LM_ANSWER_NO, "%s", unknown ? open : words);
}

/* Without an official device there is no number to judge: another rule asks for the device. */
static enum lm_answer number_format(const struct ask *a, const struct lm_need *need)
{
    enum lm_answer all = LM_ANSWER_YES;
    char words[LM_RULE_WORDS] = "";
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        char said[LM_RULE_WORDS] = "";
        struct ask quiet = *a;
        if (!lm_device_counts(&a->rec->devices[i]))
            continue;
        quiet.words = said;
        enum lm_answer one = one_device(&quiet, need, &a->rec->devices[i]);
        if (one == LM_ANSWER_YES || all == LM_ANSWER_NO)
            continue;
        all = one;
        memcpy(words, said, sizeof words);
    }
    return all == LM_ANSWER_YES ? all : lm_ask_say(a, all, "%s", words);
}

static bool begins_with_own(const struct ask *a, const char *number)
{
    char text[LM_VISUAL_MAX + 1], own[LM_VISUAL_MAX + 1];
    lm_visual_fold(number, text);
    for (size_t i = 0; i < a->ctx->own.n; i++)
        if (lm_visual_fold(a->ctx->own.at[i], own) > 0 && strncmp(text, own, strlen(own)) == 0)
            return true;
    return false;
}

/* A tag bears the number of the flock it was issued to; that must be the animal's own. */
static enum lm_answer flock_of_origin(const struct ask *a)
{
    bool ours = false;
    if (a->ctx->own.n == 0)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "the numbers of this holding are not said");
    for (unsigned i = 0; i < a->rec->n_devices; i++)
        if (lm_device_counts(&a->rec->devices[i]))
            ours = ours || begins_with_own(a, a->rec->devices[i].visual);
    if (a->animal->born_here == LM_ANSWER_UNKNOWN)
        return lm_ask_say(a, LM_ANSWER_UNKNOWN, "whether it was born on this holding is not known");
    bool born_here = a->animal->born_here == LM_ANSWER_YES;
    if (ours == born_here)
        return LM_ANSWER_YES;
    return ours ? lm_ask_say(
                      a, LM_ANSWER_NO, "it bears this holding's number and was born elsewhere")
                : lm_ask_say(
                      a, LM_ANSWER_NO, "it was born here and bears the number of another holding");
}

/* Within one device the printed number and the code must be the same where both are codes. */
static enum lm_answer devices_agree(const struct ask *a)
{
    for (unsigned i = 0; i < a->rec->n_devices; i++) {
        const struct lm_device *d = &a->rec->devices[i];
        char printed[16], chip[LM_EID_TEXT_SIZE];
        if (d->gone || !lm_device_has_chip(d) || !lm_number_code(a->pack, d->visual, printed))
            continue;
        lm_eid_format(d->eid, chip);
        if (strcmp(printed, chip) != 0)
            return lm_ask_say_over(
                a, LM_ANSWER_NO, "the device printed %s has the code %s", d->visual, chip);
    }
    return LM_ANSWER_YES;
}

enum lm_answer lm_need_numbers(const struct ask *a, const struct lm_need *need)
{
    if (need->kind == LM_NEED_NUMBER_FORMAT)
        return number_format(a, need);
    if (need->kind == LM_NEED_FLOCK_OF_ORIGIN)
        return flock_of_origin(a);
    if (need->kind == LM_NEED_DEVICES_AGREE)
        return devices_agree(a);
    if (a->animal->shared == LM_ANSWER_UNKNOWN)
        return lm_ask_say(
            a, LM_ANSWER_UNKNOWN, "whether another animal has its number was not looked up");
    if (a->animal->shared == LM_ANSWER_YES)
        return lm_ask_say(a, LM_ANSWER_NO, "another living animal has the same number or code");
    return LM_ANSWER_YES;
}

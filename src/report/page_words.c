/*
 * Words of the printed report that more than one of its forms use.
 */
#include "report/page_data.h"

#include <stdarg.h>
#include <string.h>

const char *const lm_page_cautions[] = {
    "Not seen is not away: an animal whose device is lost or dead can be there and not be told.",
    "Book, heads counted and animals identified are three figures. None of them mends another.",
    "An explanation is a likelihood, not a fact. Look at the animal before the register is "
    "changed.",
    "Whether animals may be moved, sold or claimed for is decided by your animal-health "
    "authority, not by this report.",
    NULL,
};

void lm_page_add(char *out, size_t size, const char *fmt, ...)
{
    size_t used = strlen(out);
    va_list args;
    va_start(args, fmt);
    if (used < size)
        vsnprintf(out + used, size - used, fmt, args);
    va_end(args);
}

const char *lm_page_kind(enum lm_kind kind)
{
    static const char *const words[LM_KINDS] = {"Expected and not seen", "Nobody we know",
        "Seen twice, or twice in the register", "Known, but not expected here",
        "Marks that contradict each other", "Known by number only, the tag gave no reading",
        "Devices that should no longer be worn", "Readings in doubt"};
    return kind < LM_KINDS ? words[kind] : "";
}

const char *lm_page_explain_kind(enum lm_explain_kind kind)
{
    static const char *const words[LM_EX_KINDS] = {"wears a new device", "number misread",
        "devices of two animals crossed", "a stretch of a strip paired out of step", "a stranger",
        "there, but its code gave no reading", "not there"};
    return kind < LM_EX_KINDS ? words[kind] : "";
}

const char *lm_page_session_kind(enum lm_session_kind kind)
{
    switch (kind) {
    case LM_WALK:
        return "Walk through the race";
    case LM_COUNT:
        return "Count at the race";
    case LM_SALE:
        return "Race before a sale";
    }
    return "";
}

char *lm_page_name(const struct lm_printed *p, char *out, size_t size)
{
    const struct lm_open *o = lm_session_open_of(p->s);
    snprintf(out, size, "%lld", (long long) p->from.row->id);
    if (o && o->id[0] && strcmp(o->id, out) != 0)
        lm_page_add(out, size, ", %s", o->id);
    return out;
}

char *lm_page_scope(const struct lm_printed *p, char *out, size_t size)
{
    const struct lm_open *o = lm_session_open_of(p->s);
    out[0] = '\0';
    if (o && o->mob[0])
        lm_page_add(out, size, "mob %s", o->mob);
    if (o && o->lot[0])
        lm_page_add(out, size, "%slot %s", out[0] ? ", " : "", o->lot);
    if (!out[0])
        lm_page_add(out, size, "every animal on the farm");
    if (o && o->count[0])
        lm_page_add(out, size, "; part of the count %s", o->count);
    return out;
}

char *lm_page_time(int64_t t_ms, char out[LM_TIME_TEXT_SIZE])
{
    char text[LM_TIME_TEXT_SIZE];
    lm_time_format(t_ms, text);
    if (text[0])
        snprintf(out, LM_TIME_TEXT_SIZE, "%.10s %.5s UTC", text, text + 11);
    else
        snprintf(out, LM_TIME_TEXT_SIZE, "not said");
    return out;
}

static void bounds_of_missing(const struct lm_summary *sum, char *out, size_t size)
{
    if (sum->absent_max == 0)
        lm_page_add(out, size, "Nobody on the roll is without a reading or a call.");
    else if (sum->absent_min == sum->absent_max)
        lm_page_add(out, size, "%u on the roll %s not seen. By the heads counted, %s truly away.",
            sum->absent_max, sum->absent_max == 1 ? "was" : "were",
            sum->absent_max == 1 ? "it is" : "all of them are");
    else
        lm_page_add(out, size,
            "%u on the roll were not seen. Of these, between %u and %u are truly away: %s.",
            sum->absent_max, sum->absent_min, sum->absent_max,
            sum->has_heads ? "heads that nobody could name may be some of them"
                           : "heads were not counted, so nothing narrows it");
}

char *lm_page_bounds(const struct lm_printed *p, char *out, size_t size)
{
    const struct lm_summary *sum = &p->sum;
    out[0] = '\0';
    if (sum->heads_short)
        lm_page_add(out, size,
            "LOOK: fewer heads were counted (%u) than animals identified (%u): somebody "
            "miscounted. ",
            sum->heads, sum->identified);
    if (!lm_session_is_closed(p->s))
        lm_page_add(out, size,
            "The session is still open: %u of the roll are not yet seen, and nobody is missing "
            "yet.",
            sum->expected - sum->present);
    else if (sum->expected == 0)
        lm_page_add(out, size, "Nobody was on the roll, so nobody can be missing.");
    else if (sum->absent_max == 1 && sum->absent_min == 0)
        lm_page_add(out, size, "1 on the roll was not seen; whether it is away cannot be told.");
    else
        bounds_of_missing(sum, out, size);
    return out;
}

char *lm_page_explain(
    const struct lm_printed *p, const struct lm_explanation *e, char *out, size_t size)
{
    char code[LM_EID_TEXT_SIZE];
    out[0] = '\0';
    for (uint32_t i = 0; i < e->n_animals && i < 8; i++)
        lm_page_add(out, size, "%s%s", i ? ", " : "", lm_roll_animal(p->roll, e->animals[i]).key);
    if (e->n_animals > 8)
        lm_page_add(out, size, " and %u more", e->n_animals - 8);
    lm_page_add(out, size, "%s%s", e->n_animals ? ": " : "", lm_page_explain_kind(e->kind));
    if (e->kind == LM_EX_SHIFTED_RUN)
        lm_page_add(out, size, " by %d", e->offset);
    if (e->sighting)
        lm_page_add(out, size, ", called %s", e->sighting);
    if (e->as)
        lm_page_add(out, size, " for %s", e->as);
    for (uint32_t i = 0; i < e->n_eid && e->n_eid <= 2; i++)
        lm_page_add(out, size, "%s%s", i ? " and " : ", code ", lm_eid_format(e->eid[i], code));
    return out;
}

char *lm_page_sure(double probability, char out[16])
{
    bool over = probability >= 0.995;
    snprintf(out, 16, "%s%.0f %%", over ? ">" : "", over ? 99.0 : 100 * probability);
    return out;
}

char *lm_page_device(uint8_t form, uint8_t place, char *out, size_t size)
{
    const char *f = lm_device_form_name((enum lm_device_form) form);
    const char *at = lm_place_name((enum lm_place) place);
    snprintf(out, size, "%s, %s", f[0] ? f : "form not said", at[0] ? at : "place not said");
    return out;
}

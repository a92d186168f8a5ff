/*
 * Words of the printed report that more than one of its forms use.
 */
#include "report/sheet_data.h"
#include "report/titles.h"
#include "report/tongue.h"

#include <stdarg.h>
#include <string.h>

const char *const lm_sheet_cautions[] = {
    N_("Not seen is not away: an animal whose device is lost or dead can be there and not be "
       "told."),
    N_("Book, heads counted and animals identified are three figures. None of them mends another."),
    N_("An explanation is a likelihood, not a fact. Look at the animal before the register is "
       "changed."),
    N_("Whether animals may be moved, sold or claimed for is decided by your animal-health "
       "authority, not by this report."),
    NULL,
};

void lm_sheet_add(char *out, size_t size, const char *fmt, ...)
{
    size_t used = strlen(out);
    va_list args;
    va_start(args, fmt);
    if (used < size)
        vsnprintf(out + used, size - used, fmt, args);
    va_end(args);
}

const char *lm_sheet_session_kind(enum lm_session_kind kind)
{
    switch (kind) {
    case LM_WALK:
        return _("Walk through the race");
    case LM_COUNT:
        return _("Count at the race");
    case LM_SALE:
        return _("Race before a sale");
    }
    return "";
}

char *lm_sheet_name(const struct lm_printed *p, char *out, size_t size)
{
    const struct lm_open *o = lm_session_open_of(p->s);
    snprintf(out, size, "%lld", (long long) p->from.row->id);
    if (o && o->id[0] && strcmp(o->id, out) != 0)
        lm_sheet_add(out, size, ", %s", o->id);
    return out;
}

char *lm_sheet_scope(const struct lm_printed *p, char *out, size_t size)
{
    const struct lm_open *o = lm_session_open_of(p->s);
    out[0] = '\0';
    if (o && o->mob[0])
        lm_sheet_add(out, size, _("mob %s"), o->mob);
    if (o && o->lot[0])
        lm_sheet_add(out, size, out[0] ? _(", lot %s") : _("lot %s"), o->lot);
    if (!out[0])
        lm_sheet_add(out, size, "%s", _("every animal on the farm"));
    if (o && o->count[0])
        lm_sheet_add(out, size, _("; part of the count %s"), o->count);
    return out;
}

char *lm_sheet_time(int64_t t_ms, char out[LM_TIME_TEXT_SIZE])
{
    char text[LM_TIME_TEXT_SIZE];
    lm_time_format(t_ms, text);
    if (text[0])
        snprintf(out, LM_TIME_TEXT_SIZE, "%.10s %.5s UTC", text, text + 11);
    else
        snprintf(out, LM_TIME_TEXT_SIZE, "%s", _("not said"));
    return out;
}

/** Somebody is missing, and the heads say how many, or some of them, or nothing. */
static void bounds_of_missing(const struct lm_summary *sum, char *out, size_t size)
{
    if (sum->absent_min == sum->absent_max)
        lm_sheet_add(out, size,
            lm_tongue_n("%u on the roll was not seen. By the heads counted, it is truly away.",
                "%u on the roll were not seen. By the heads counted, all of them are truly away.",
                sum->absent_max),
            sum->absent_max);
    else if (sum->has_heads)
        lm_sheet_add(out, size,
            _("%u on the roll were not seen. Of these, between %u and %u are truly away: heads "
              "that nobody could name may be some of them."),
            sum->absent_max, sum->absent_min, sum->absent_max);
    else
        lm_sheet_add(out, size,
            _("%u on the roll were not seen. Of these, between %u and %u are truly away: heads "
              "were not counted, so nothing narrows it."),
            sum->absent_max, sum->absent_min, sum->absent_max);
}

char *lm_sheet_bounds(const struct lm_printed *p, char *out, size_t size)
{
    const struct lm_summary *sum = &p->sum;
    out[0] = '\0';
    if (sum->heads_short)
        lm_sheet_add(out, size,
            _("LOOK: fewer heads were counted (%u) than animals identified (%u): somebody "
              "miscounted. "),
            sum->heads, sum->identified);
    if (!lm_session_is_closed(p->s))
        lm_sheet_add(out, size,
            _("The session is still open: %u of the roll are not yet seen, and nobody is missing "
              "yet."),
            sum->expected - sum->present);
    else if (sum->expected == 0)
        lm_sheet_add(out, size, "%s", _("Nobody was on the roll, so nobody can be missing."));
    else if (sum->absent_max == 0)
        lm_sheet_add(out, size, "%s", _("Nobody on the roll is without a reading or a call."));
    else if (sum->absent_max == 1 && sum->absent_min == 0)
        lm_sheet_add(
            out, size, "%s", _("1 on the roll was not seen; whether it is away cannot be told."));
    else
        bounds_of_missing(sum, out, size);
    return out;
}

char *lm_sheet_explain(
    const struct lm_printed *p, const struct lm_explanation *e, char *out, size_t size)
{
    char code[LM_EID_TEXT_SIZE], second[LM_EID_TEXT_SIZE];
    out[0] = '\0';
    for (uint32_t i = 0; i < e->n_animals && i < 8; i++)
        lm_sheet_add(out, size, "%s%s", i ? ", " : "", lm_roll_animal(p->roll, e->animals[i]).key);
    if (e->n_animals > 8)
        lm_sheet_add(out, size, _(" and %u more"), e->n_animals - 8);
    lm_sheet_add(out, size, "%s%s", e->n_animals ? ": " : "", _(lm_explain_kind_title(e->kind)));
    if (e->kind == LM_EX_SHIFTED_RUN)
        lm_sheet_add(out, size, _(" by %d"), e->offset);
    if (e->sighting)
        lm_sheet_add(out, size, _(", called %s"), e->sighting);
    if (e->as)
        lm_sheet_add(out, size, _(" for %s"), e->as);
    if (e->n_eid == 1)
        lm_sheet_add(out, size, _(", code %s"), lm_eid_format(e->eid[0], code));
    else if (e->n_eid == 2)
        lm_sheet_add(out, size, _(", code %s and %s"), lm_eid_format(e->eid[0], code),
            lm_eid_format(e->eid[1], second));
    return out;
}

char *lm_sheet_sure(double probability, char out[16])
{
    bool over = probability >= 0.995;
    snprintf(out, 16, "%s%.0f %%", over ? ">" : "", over ? 99.0 : 100 * probability);
    return out;
}

char *lm_sheet_device(uint8_t form, uint8_t place, char *out, size_t size)
{
    const char *f = lm_device_form_name((enum lm_device_form) form);
    const char *at = lm_place_name((enum lm_place) place);
    snprintf(out, size, "%s, %s", f[0] ? lm_tongue_word(f) : _("form not said"),
        at[0] ? lm_tongue_word(at) : _("place not said"));
    return out;
}

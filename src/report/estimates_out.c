/*
 * Estimates in words and as JSON. Each says what it rests on.
 */
#include "lugmark/inventory.h"
#include "report/jsonout.h"
#include "report/tongue.h"

#include <math.h>

#define DAYS_SHOWN 6

static const int days_shown[DAYS_SHOWN] = {30, 90, 182, 365, 730, 1095};

static const char *form_of(uint8_t form)
{
    const char *name = lm_device_form_name((enum lm_device_form) form);
    return name[0] ? lm_tongue_word(name) : _("device, form not said");
}

static const char *place_of(uint8_t place)
{
    const char *name = lm_place_name((enum lm_place) place);
    return name[0] ? lm_tongue_word(name) : _("place not said");
}

static void text_readability(FILE *out, const struct lm_estimates *e)
{
    struct lm_readability groups[LM_READABILITY_MAX];
    size_t n = lm_estimates_readability(e, groups);
    if (n > 0)
        fputs(_(/* xgettext:no-c-format */ "\nReadability: devices read, of those worn by animals "
                                           "that were seen (95 % "
                                           "interval).\nAn animal that was not seen at all is in "
                                           "neither figure, so this is the "
                                           "best case.\n"),
            out);
    for (size_t i = 0; i < n; i++) {
        struct lm_proportion p = lm_wilson(groups[i].read, groups[i].readable);
        fprintf(out, _("  %s, %s: %llu of %llu, %.1f %% (%.1f-%.1f)\n"), form_of(groups[i].form),
            place_of(groups[i].place), (unsigned long long) p.hits, (unsigned long long) p.n,
            100 * p.value, 100 * p.low, 100 * p.high);
    }
}

static void text_lists(FILE *out, const struct lm_two_lists *l)
{
    if (l->open)
        fprintf(out,
            _("  at least %u heads; nobody is on both lists, so no upper end can be told\n"),
            l->seen);
    else
        fprintf(out, _("  about %u heads (%u-%u); at least %u were seen\n"), l->heads, l->low,
            l->high, l->seen);
    if (l->thin && !l->open)
        fputs(_("  fewer than 7 are on both lists: do not rely on it\n"), out);
}

static void text_heads(FILE *out, struct lm_estimates *e)
{
    struct lm_two_lists l;
    const char *names[2];
    if (lm_estimates_called(e, &l)) {
        fprintf(out,
            _("\nHeads from two lists: %u read, %u called by number, %u both (animals of the "
              "register with an electronic code).\nOnly if numbers were called without regard to "
              "whether there was a reading.\n"),
            l.first, l.second, l.both);
        text_lists(out, &l);
    }
    if (lm_estimates_readers(e, names, &l)) {
        fprintf(out,
            _("\nHeads from two readers: %u by %s, %u by %s, %u by both.\nOnly if every animal had "
              "to pass both readers.\n"),
            l.first, names[0], l.second, names[1], l.both);
        text_lists(out, &l);
    }
}

static void text_retention(FILE *out, const struct lm_retention *g)
{
    if (g->strip[0])
        fprintf(out, _("  %s, %s, strip %s: %zu devices, %zu taken off or lost\n"),
            form_of(g->form), place_of(g->place), g->strip, g->devices, g->ended);
    else
        fprintf(out, _("  %s, %s: %zu devices, %zu taken off or lost\n"), form_of(g->form),
            place_of(g->place), g->devices, g->ended);
    if (g->from > 0)
        fprintf(out, _("    of those that lasted %.0f days; the time before was not watched\n"),
            g->from);
    if (g->ended == 0)
        fprintf(out, _("    none lost in up to %.0f days\n"), g->until);
    for (int i = 0; i < DAYS_SHOWN; i++) {
        const struct lm_life_step *s = lm_life_at(g->steps, g->n, days_shown[i]);
        if (s == NULL || days_shown[i] > g->until)
            continue;
        fprintf(out, _("    still on after %d days: %.1f %%"), days_shown[i], 100 * s->stays);
        if (s->has_interval)
            fprintf(out, " (%.1f-%.1f)", 100 * s->low, 100 * s->high);
        fprintf(out,
            s->at_risk < 10 ? _(", %u at risk at the last loss: few\n")
                            : _(", %u at risk at the last loss\n"),
            s->at_risk);
    }
}

static void text_retentions(FILE *out, const struct lm_retentions *r)
{
    const struct lm_two_devices *p = &r->pairs;
    fputs(_(/* xgettext:no-c-format */ "\nDevices that stay on (Kaplan-Meier, 95 % interval; a "
                                       "sale, a death and today end only "
                                       "the watching):\n"),
        out);
    if (r->n == 0)
        fputs(_("  nothing to go by: no device has dates that tell\n"), out);
    for (size_t i = 0; i < r->n; i++)
        text_retention(out, &r->groups[i]);
    if (!isnan(p->stays))
        fprintf(out,
            _("  animals here that began with two: %u wear both, %u one, %u none; one device stays "
              "with %.1f %%,\n  so that %.1f should have lost both if losses are independent\n"),
            p->both, p->one, p->none, 100 * p->stays, p->none_expected);
    if (r->no_date)
        fprintf(out, _("  left out: %zu devices without the date they were put on or taken off\n"),
            r->no_date);
    if (r->gone_before)
        fprintf(out,
            _("  left out: %zu devices that were gone when they were first written down "
              "(--whole-history takes them in)\n"),
            r->gone_before);
    if (r->rough)
        fprintf(out,
            _("  %zu devices have a date to the month or year only: its middle is taken\n"),
            r->rough);
}

enum lm_err lm_estimates_text(FILE *out, struct lm_estimates *e, const struct lm_retentions *r)
{
    text_readability(out, e);
    text_heads(out, e);
    if (r)
        text_retentions(out, r);
    return ferror(out) ? LM_EIO : LM_OK;
}

/** A number, or null where there is none. */
static void number(FILE *out, const char *key, double value)
{
    if (isfinite(value))
        fprintf(out, ",\"%s\":%.6f", key, value);
    else
        fprintf(out, ",\"%s\":null", key);
}

static void json_lists(FILE *out, const struct lm_two_lists *l)
{
    fprintf(out, "\"first\":%u,\"second\":%u,\"both\":%u,\"seen\":%u", l->first, l->second, l->both,
        l->seen);
    number(out, "chapman", l->chapman);
    number(out, "se", l->se);
    number(out, "normal_low", l->normal_low);
    number(out, "normal_high", l->normal_high);
    fprintf(out, ",\"heads\":%u,\"low\":%u,\"exact_low\":%u", l->heads, l->low, l->exact_low);
    if (l->open)
        fputs(",\"high\":null,\"exact_high\":null", out);
    else
        fprintf(out, ",\"high\":%u,\"exact_high\":%u", l->high, l->exact_high);
    fprintf(out, ",\"thin\":%s}", l->thin ? "true" : "false");
}

static void json_readability(FILE *out, const struct lm_estimates *e)
{
    struct lm_readability groups[LM_READABILITY_MAX];
    size_t n = lm_estimates_readability(e, groups);
    fputs("\"readability\":[", out);
    for (size_t i = 0; i < n; i++) {
        struct lm_proportion p = lm_wilson(groups[i].read, groups[i].readable);
        fprintf(out, "%s{\"form\":\"%s\",\"place\":\"%s\",\"read\":%llu,\"readable\":%llu",
            i ? "," : "", lm_device_form_name((enum lm_device_form) groups[i].form),
            lm_place_name((enum lm_place) groups[i].place), (unsigned long long) p.hits,
            (unsigned long long) p.n);
        number(out, "share", p.value);
        number(out, "low", p.low);
        number(out, "high", p.high);
        putc('}', out);
    }
    putc(']', out);
}

static void json_retention(FILE *out, const struct lm_retention *g)
{
    fputs("{\"strip\":", out);
    lm_jsonout_text_or_null(out, g->strip);
    fprintf(out, ",\"form\":\"%s\",\"place\":\"%s\",\"devices\":%zu,\"ended\":%zu",
        lm_device_form_name((enum lm_device_form) g->form), lm_place_name((enum lm_place) g->place),
        g->devices, g->ended);
    number(out, "watched_from_days", g->from);
    number(out, "watched_until_days", g->until);
    fputs(",\"steps\":[", out);
    for (size_t i = 0; i < g->n; i++) {
        const struct lm_life_step *s = &g->steps[i];
        fprintf(out, "%s{\"at_risk\":%u,\"ended\":%u", i ? "," : "", s->at_risk, s->ended);
        number(out, "days", s->t);
        number(out, "stays", s->stays);
        number(out, "se", s->has_interval ? s->se : NAN);
        number(out, "low", s->has_interval ? s->low : NAN);
        number(out, "high", s->has_interval ? s->high : NAN);
        putc('}', out);
    }
    fputs("]}", out);
}

static void json_retentions(FILE *out, const struct lm_retentions *r)
{
    fputs(",\"retention\":[", out);
    for (size_t i = 0; i < r->n; i++) {
        if (i)
            putc(',', out);
        json_retention(out, &r->groups[i]);
    }
    fprintf(out, "],\"pairs\":{\"both\":%u,\"one\":%u,\"none\":%u", r->pairs.both, r->pairs.one,
        r->pairs.none);
    number(out, "stays", r->pairs.stays);
    number(out, "none_expected", r->pairs.none_expected);
    fprintf(out, "},\"left_out\":{\"no_date\":%zu,\"gone_before\":%zu},\"dates_rough\":%zu",
        r->no_date, r->gone_before, r->rough);
}

enum lm_err lm_estimates_json(FILE *out, struct lm_estimates *e, const struct lm_retentions *r)
{
    struct lm_two_lists l;
    const char *names[2];
    json_readability(out, e);
    fputs(",\"heads_read_and_called\":", out);
    if (lm_estimates_called(e, &l)) {
        putc('{', out);
        json_lists(out, &l);
    } else {
        fputs("null", out);
    }
    fputs(",\"heads_two_readers\":", out);
    if (lm_estimates_readers(e, names, &l)) {
        fputs("{\"readers\":[", out);
        lm_jsonout_text(out, names[0]);
        putc(',', out);
        lm_jsonout_text(out, names[1]);
        fputs("],", out);
        json_lists(out, &l);
    } else {
        fputs("null", out);
    }
    if (r)
        json_retentions(out, r);
    return ferror(out) ? LM_EIO : LM_OK;
}

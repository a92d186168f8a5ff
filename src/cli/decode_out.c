/* One decoded code as a block, a line or JSON. */
#include "decode_out.h"

#include <inttypes.h>
#include <string.h>

#include "out_json.h"
#include "problem.h"

/* One code, taken apart for showing. */
struct view {
    char text[160]; /* as it was written, cleaned; 128 bits as 0 and 1 fit */
    struct lm_decoded code;
    struct lm_eid_fields f;
    bool full; /* all 64 bits are known, not only the 15 digits */
    char eid[LM_EID_TEXT_SIZE];
    const char *class_word;   /* for machines */
    const char *country_flag; /* what is odd about the country, or NULL */
};

static const char *class_word(enum lm_country_class class)
{
    switch (class) {
    case LM_COUNTRY_ISO:
        return "country";
    case LM_COUNTRY_UNASSIGNED:
        return "unassigned";
    case LM_COUNTRY_MANUFACTURER:
        return "manufacturer";
    case LM_COUNTRY_IS_TEST:
        return "test";
    case LM_COUNTRY_INVALID:
        break;
    }
    return "invalid";
}

static const char *country_flag(enum lm_country_class class)
{
    switch (class) {
    case LM_COUNTRY_UNASSIGNED:
        return "unknown-country";
    case LM_COUNTRY_IS_TEST:
        return "test-code";
    case LM_COUNTRY_INVALID:
        return "invalid-country";
    case LM_COUNTRY_ISO:
    case LM_COUNTRY_MANUFACTURER:
        break;
    }
    return NULL;
}

static bool is_uid(const struct view *v)
{
    return v->code.eid.known == LM_EID_UID;
}

static void look(struct view *v)
{
    if (is_uid(v)) { /* a chip has none of the fields of a code */
        lm_eid_format(v->code.eid, v->eid);
        v->country_flag = lm_eid_uid_is_random(v->code.eid) ? "random-uid" : NULL;
        return;
    }
    enum lm_country_class class = lm_country_class(lm_eid_country(v->code.eid));
    v->f = lm_eid_unpack(v->code.eid);
    v->full = v->code.eid.known == LM_EID_FULL;
    lm_eid_format(v->code.eid, v->eid);
    v->class_word = class_word(class);
    v->country_flag = country_flag(class);
}

static bool not_animal(const struct view *v)
{
    return v->full && !v->f.animal;
}

static const char *coding_name(const struct view *v)
{
    return v->code.telegram.coding == LM_CODING_FDXB ? "FDX-B" : "HDX";
}

/* --- block --- */

static void number_row(
    FILE *out, const struct view *v, const char *name, unsigned n, const char *say)
{
    if (v->full)
        fprintf(out, "  %-16s %u%s%s\n", name, n, say[0] != '\0' ? "  " : "", say);
    else
        fprintf(out, "  %-16s not in the 15 digits\n", name);
}

static void bit_row(
    FILE *out, const struct view *v, const char *name, bool bit, const char *yes, const char *no)
{
    number_row(out, v, name, bit, bit ? yes : no);
}

static void flag_rows(FILE *out, const struct view *v)
{
    if (v->country_flag != NULL)
        fprintf(out, "  %-16s %s\n", "flagged", v->country_flag);
    if (not_animal(v))
        fprintf(out, "  %-16s not-animal\n", "flagged");
}

static void uid_block(FILE *out, const struct view *v)
{
    fprintf(out, "%s\n", v->eid);
    fprintf(out, "  %-16s %s\n", "written as", lm_code_form_name(v->code.form));
    fprintf(out, "  %-16s %u\n", "bytes", lm_eid_uid_bytes(v->code.eid));
    fprintf(out, "  %-16s %s\n", "says",
        v->country_flag != NULL ? "nothing: the chip makes up a new number each time"
                                : "which chip it is; the register knows who wears it");
    flag_rows(out, v);
}

static void block(FILE *out, const struct view *v)
{
    const struct lm_eid_fields *f = &v->f;
    const char *alpha2 = lm_country_alpha2(f->country);
    fprintf(out, "%s\n", v->eid);
    fprintf(out, "  %-16s %s\n", "written as", lm_code_form_name(v->code.form));
    fprintf(out, "  %-16s %03u  %s%s%s (%s)\n", "country", f->country, alpha2 != NULL ? alpha2 : "",
        alpha2 != NULL ? ", " : "", lm_country_name(f->country), v->class_word);
    fprintf(out, "  %-16s %012" PRIu64 "\n", "national code", f->national);
    bit_row(out, v, "animal flag", f->animal, "used on an animal", "not used on an animal");
    number_row(out, v, "retagging", f->retag, f->retag > 0 ? "a replacement device" : "");
    number_row(out, v, "user information", f->user, "");
    number_row(out, v, "reserved", f->reserved, "");
    number_row(out, v, "visual start", f->visual_start,
        f->visual_start > 0 ? "the printed number starts at this digit" : "not said");
    bit_row(out, v, "RUDI", f->rudi, "an advanced transponder", "no user data inside");
    bit_row(out, v, "data block", f->data_block, "the trailer carries data", "none");
    if (v->full)
        fprintf(out, "  %-16s 0x%016" PRIX64 "\n", "64 bits", v->code.eid.bits);
    if (v->code.has_telegram) {
        fprintf(out, "  %-16s %s\n", "telegram", coding_name(v));
        fprintf(out, "  %-16s 0x%04X  right\n", "CRC", v->code.telegram.crc);
        fprintf(out, "  %-16s 0x%06" PRIX32 "\n", "trailer", v->code.telegram.trailer);
        fprintf(out, "  %-16s %u bits\n", "rotation", v->code.rotation);
    }
    flag_rows(out, v);
}

/* --- one line: the digits first, then what is not ordinary --- */

static void uid_line(FILE *out, const struct view *v)
{
    fprintf(out, "%s  %u bytes  as %s%s%s\n", v->eid, lm_eid_uid_bytes(v->code.eid),
        lm_code_form_name(v->code.form), v->country_flag != NULL ? "  FLAGGED " : "",
        v->country_flag != NULL ? v->country_flag : "");
}

static void line(FILE *out, const struct view *v)
{
    const struct lm_eid_fields *f = &v->f;
    fprintf(out, "%s  %03u %s (%s)  national %012" PRIu64, v->eid, f->country,
        lm_country_name(f->country), v->class_word, f->national);
    if (v->full)
        fprintf(out,
            "  animal %u  retag %u  user %u  reserved %u  visual-start %u  rudi %u  data %u",
            f->animal, f->retag, f->user, f->reserved, f->visual_start, f->rudi, f->data_block);
    fprintf(out, "  as %s", lm_code_form_name(v->code.form));
    if (v->code.has_telegram)
        fprintf(out, "  %s crc %04X  trailer %06" PRIX32 "  rotation %u", coding_name(v),
            v->code.telegram.crc, v->code.telegram.trailer, v->code.rotation);
    if (v->country_flag != NULL)
        fprintf(out, "  FLAGGED %s", v->country_flag);
    if (not_animal(v))
        fputs("  FLAGGED not-animal", out);
    fputc('\n', out);
}

/* --- JSON --- */

static json_t *known(const struct view *v, json_t *value)
{
    if (v->full)
        return value;
    json_decref(value);
    return json_null();
}

static void add_telegram(const struct view *v, json_t *o)
{
    char hex[24];
    json_object_set_new(o, "coding", json_string(coding_name(v)));
    snprintf(hex, sizeof hex, "%04X", v->code.telegram.crc);
    json_object_set_new(o, "crc", json_string(hex));
    snprintf(hex, sizeof hex, "%06" PRIX32, v->code.telegram.trailer);
    json_object_set_new(o, "trailer", json_string(hex));
    json_object_set_new(o, "rotation", json_integer(v->code.rotation));
}

static void uid_json(FILE *out, const struct view *v)
{
    json_t *flags = json_array();
    if (v->country_flag != NULL)
        json_array_append_new(flags, json_string(v->country_flag));
    lm_json_line(out,
        json_pack("{s:s, s:b, s:s, s:s, s:s, s:i, s:n, s:n, s:o}", "text", v->text, "ok", 1, "form",
            lm_code_form_name(v->code.form), "eid", v->eid, "uid", v->eid + strlen("uid:"), "bytes",
            (int) lm_eid_uid_bytes(v->code.eid), "country", "national", "flags", flags));
}

static void json(FILE *out, const struct view *v)
{
    const struct lm_eid_fields *f = &v->f;
    char national[24], bits[24];
    snprintf(national, sizeof national, "%012" PRIu64, f->national);
    snprintf(bits, sizeof bits, "%016" PRIX64, v->code.eid.bits);
    json_t *flags = json_array();
    if (v->country_flag != NULL)
        json_array_append_new(flags, json_string(v->country_flag));
    if (not_animal(v))
        json_array_append_new(flags, json_string("not-animal"));
    json_t *o = json_pack("{s:s, s:b, s:s, s:s, s:i, s:s, s:s, s:o, s:s}", "text", v->text, "ok", 1,
        "form", lm_code_form_name(v->code.form), "eid", v->eid, "country", (int) f->country,
        "country_class", v->class_word, "country_name", lm_country_name(f->country), "alpha2",
        lm_json_or_null(lm_country_alpha2(f->country)), "national", national);
    json_object_set_new(o, "animal", known(v, json_boolean(f->animal)));
    json_object_set_new(o, "retag", known(v, json_integer(f->retag)));
    json_object_set_new(o, "user", known(v, json_integer(f->user)));
    json_object_set_new(o, "reserved", known(v, json_integer(f->reserved)));
    json_object_set_new(o, "visual_start", known(v, json_integer(f->visual_start)));
    json_object_set_new(o, "rudi", known(v, json_boolean(f->rudi)));
    json_object_set_new(o, "data_block", known(v, json_boolean(f->data_block)));
    json_object_set_new(o, "bits", known(v, json_string(bits)));
    if (v->code.has_telegram)
        add_telegram(v, o);
    json_object_set_new(o, "flags", flags);
    lm_json_line(out, o);
}

static int bad(
    FILE *out, const struct view *v, const struct lm_problem *p, enum lm_decode_style style)
{
    switch (style) {
    case LM_DECODE_BLOCK:
        lm_problem_print(p);
        break;
    case LM_DECODE_LINE:
        fprintf(out, "%s  BAD %s%s%s\n", v->text, p->what, p->mend[0] != '\0' ? "; to mend: " : "",
            p->mend);
        break;
    case LM_DECODE_JSON:
        lm_json_line(out, json_pack("{s:s, s:b, s:s, s:s}", "text", v->text, "ok", 0, "error",
                              p->what, "mend", p->mend));
        break;
    }
    return LM_EXIT_INPUT;
}

int lm_decode_out(FILE *out, const char *text, size_t len, enum lm_decode_style style)
{
    struct view v = {0};
    struct lm_problem p = {0};
    lm_text_copy(v.text, sizeof v.text, text, len);
    if (lm_decode(text, len, &v.code, &p) != LM_OK)
        return bad(out, &v, &p, style);
    look(&v);
    switch (style) {
    case LM_DECODE_BLOCK:
        (is_uid(&v) ? uid_block : block)(out, &v);
        break;
    case LM_DECODE_LINE:
        (is_uid(&v) ? uid_line : line)(out, &v);
        break;
    case LM_DECODE_JSON:
        (is_uid(&v) ? uid_json : json)(out, &v);
        break;
    }
    return v.country_flag != NULL || not_animal(&v) ? LM_EXIT_FLAGGED : LM_EXIT_OK;
}

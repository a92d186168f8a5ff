/* Type 2 tags and NDEF records: lengths, chunks, nesting, reserved bytes, what is cut or broken. */
#include "ndef_help.h"

/* --- tag memory --- */

static void finds_the_message(void **state)
{
    (void) state;
    static const struct {
        const char *data; /* from page 4 on */
        enum lm_ndef why;
        size_t n;
    } table[] = {
        {"0316" TEXT_RECORD "FE", LM_NDEF_OK, 22},
        {"0000 0316" TEXT_RECORD "FE", LM_NDEF_OK, 22},             /* NULLs first */
        {"0103A00C34 0316" TEXT_RECORD "FE", LM_NDEF_OK, 22},       /* lock control first */
        {"0103A00C34 0203A0FF14 0316" TEXT_RECORD, LM_NDEF_OK, 22}, /* memory control, no end */
        {"FD0401020304 0316" TEXT_RECORD "FE", LM_NDEF_OK, 22},     /* somebody's own */
        {"03FF0016" TEXT_RECORD "FE", LM_NDEF_OK, 22},              /* three-byte length */
        {"03FF0003 D00000 FE", LM_NDEF_OK, 3}, {"0300FE", LM_NDEF_EMPTY, 0},
        {"FE", LM_NDEF_EMPTY, 0}, {"", LM_NDEF_EMPTY, 0}, /* NULLs to the end */
        {"038F", LM_NDEF_BROKEN, 0}, /* one byte longer than the area has room for */
        {"03FF FFFF", LM_NDEF_BROKEN, 0}, {"FDFF1000", LM_NDEF_BROKEN, 0},
        {"0102A00C 0316" TEXT_RECORD, LM_NDEF_BROKEN, 0}, /* a control of two bytes */
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        struct bytes tag = tag_of(table[i].data);
        uint8_t out[LM_NDEF_MAX];
        size_t n = 99;
        enum lm_ndef why = lm_t2t_message(tag.data, tag.n, out, &n);
        if (why != table[i].why || n != table[i].n)
            fail_msg("%s: %s, %zu bytes", table[i].data, lm_ndef_say(why), n);
    }
}

static void knows_the_container(void **state)
{
    (void) state;
    struct bytes tag = tag_of("0316" TEXT_RECORD "FE");
    uint8_t out[LM_NDEF_MAX];
    size_t n;
    assert_int_equal(lm_t2t_size(tag.data, 15), 0);
    assert_int_equal(lm_t2t_size(tag.data, 16), 160);
    assert_int_equal(lm_t2t_message(tag.data, 15, out, &n), LM_NDEF_CUT);
    tag.data[14] = 0xFF; /* 2040 bytes of data: more than READ reaches */
    assert_int_equal(lm_t2t_size(tag.data, 16), LM_T2T_MAX);
    tag.data[14] = 0x02; /* 16 bytes: the message does not fit */
    assert_int_equal(lm_t2t_message(tag.data, tag.n, out, &n), LM_NDEF_BROKEN);
    tag.data[14] = 0x12;
    tag.data[13] = 0x1F; /* a later minor version reads the same */
    assert_int_equal(lm_t2t_message(tag.data, tag.n, out, &n), LM_NDEF_OK);
    tag.data[13] = 0x20;
    assert_int_equal(lm_t2t_message(tag.data, tag.n, out, &n), LM_NDEF_NEWER);
    assert_int_equal(lm_t2t_size(tag.data, 16), 0);
    tag.data[12] = 0x00;
    assert_int_equal(lm_t2t_message(tag.data, tag.n, out, &n), LM_NDEF_NO_TAG);
}

static void reads_around_reserved_bytes(void **state)
{
    (void) state;
    char text[LM_EID_TEXT_SIZE];
    /* Two lock bytes at byte 40 (page 2 of 16 bytes, offset 8) and two reserved ones behind them.
     */
    struct bytes tag = tag_of("0103280C04 0203 2A0204 0316" TEXT_RECORD "FE");
    memmove(tag.data + 44, tag.data + 40, 60);
    memcpy(tag.data + 40, "\xAA\xAA\xBB\xBB", 4);
    assert_string_equal(code_of_tag(tag.data, tag.n, text), "999000000112233");
    tag.data[17] = 0x02; /* without the first control the message would hold foreign bytes */
    assert_string_not_equal(code_of_tag(tag.data, tag.n, text), "999000000112233");
    /* More controls than any tag has. */
    struct bytes many = {.n = 0};
    many = tag_of("");
    size_t at = 16;
    for (int i = 0; i < 9; i++, at += 5)
        memcpy(many.data + at, "\x01\x03\xF0\x01\x07", 5);
    assert_string_equal(code_of_tag(many.data, many.n, text), lm_ndef_say(LM_NDEF_BROKEN));
}

static void a_tag_cut_anywhere_is_cut(void **state)
{
    (void) state;
    char text[LM_EID_TEXT_SIZE];
    struct bytes tag = tag_of("00 0103A00C34 03FF0016" TEXT_RECORD "FE");
    const size_t end = 16 + 1 + 5 + 4 + 22;
    for (size_t n = 0; n < tag.n; n++) {
        const char *want = n < end ? lm_ndef_say(LM_NDEF_CUT) : "999000000112233";
        assert_string_equal(code_of_tag(tag.data, n, text), want);
    }
}

/* --- records --- */

struct list {
    char text[1024];
};

static enum lm_ndef note(const struct lm_ndef_record *rec, void *ctx)
{
    struct list *list = ctx;
    size_t used = strlen(list->text);
    snprintf(list->text + used, sizeof list->text - used, "%u:%u:%.*s:%.*s;", rec->depth,
        (unsigned) rec->tnf, (int) rec->type_len, (const char *) rec->type, (int) rec->len,
        (const char *) rec->payload);
    return LM_NDEF_OK;
}

static const char *records(const char *hex, struct list *list)
{
    struct bytes b = of_hex(hex);
    uint8_t *copy = tight(b.data, b.n);
    list->text[0] = '\0';
    enum lm_ndef why = lm_ndef_records(copy, b.n, note, list);
    free(copy);
    return why == LM_NDEF_OK ? list->text : lm_ndef_say(why);
}

static void takes_records_apart(void **state)
{
    (void) state;
    struct list list;
    static const struct {
        const char *hex, *want;
    } table[] = {
        {"D1010158 61", "0:1:X:a;"}, {"C10100000001 58 61", "0:1:X:a;"}, /* long record */
        {"D9010102 58 4944 61", "0:1:X:a;"},                             /* with an ID */
        {"C90100000001 02 58 4944 61", "0:1:X:a;"},                      /* long, with an ID */
        {"D00000", "0:0::;"},                                            /* empty */
        {"D50001 61", "0:5::a;"},                                        /* unknown */
        {"D20101 6D 61", "0:2:m:a;"},                                    /* MIME */
        {"9101015861 5101015962", "0:1:X:a;0:1:Y:b;"},                   /* two */
        {"9101015861 1101015962 5101015A63", "0:1:X:a;0:1:Y:b;0:1:Z:c;"},
        {"B1010258 6162 36000163 56000164", "0:1:X:abcd;"}, /* chunks: first, middle, last */
        {"A10100000002 58 6162 56000163", "0:1:X:abc;"},    /* a long first chunk */
        {"B1010058 56000161", "0:1:X:a;"},                  /* an empty first chunk */
        {"D1010158 61 FFFFFF", "0:1:X:a;"},   /* what follows the end is not looked at */
        {"D102085370 9101015861 5100", NULL}, /* a poster cut inside */
        {"D1020A5370 9101015861 5101015962", "1:1:X:a;1:1:Y:b;"},
        {"9101015861 51020A5370 9101015861 5101015962", "0:1:X:a;1:1:X:a;1:1:Y:b;"},
        {"B102055370 9101015861 56000551 01015962", "1:1:X:a;1:1:Y:b;"}, /* a poster in chunks */
        {"", NULL}, {"D1", NULL}, {"5101015861", NULL}, /* does not begin with MB */
        {"9101015861", NULL},                           /* never ends */
        {"9101015861 D101015962", NULL},                /* MB again */
        {"D6000161", NULL},                             /* begins with a chunk */
        {"B101015861 5101015962", NULL},                /* a chunk, then a record */
        {"F101015861", NULL},                           /* ends in the middle of its chunks */
        {"B101015861 56010159 62", NULL},               /* a later chunk with a type */
        {"D10001 61", NULL},                            /* well-known without a type */
        {"D00001 61", NULL},                            /* empty with a payload */
        {"D5010158 61", NULL},                          /* unknown with a type */
        {"C101FFFFFFFF 58 61", NULL},                   /* 4 GiB */
        {"C10180000000 58 61", NULL}, {"D9010158 FF 61", NULL}, /* an ID longer than the message */
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        const char *got = records(table[i].hex, &list);
        bool empty = table[i].hex[0] == '\0';
        const char *want = table[i].want != NULL ? table[i].want
                           : empty               ? lm_ndef_say(LM_NDEF_EMPTY)
                                                 : lm_ndef_say(LM_NDEF_BROKEN);
        if (strcmp(got, want) != 0)
            fail_msg("%s: %s, not %s", table[i].hex, got, want);
    }
}

/** A Text record in @p depth posters. */
static struct bytes nested(unsigned depth)
{
    struct bytes b = of_hex(TEXT_RECORD);
    for (unsigned i = 0; i < depth; i++) {
        struct bytes outer = {.n = 0};
        char head[24];
        snprintf(head, sizeof head, "C102%08X5370", (unsigned) b.n);
        add_hex(&outer, head);
        memcpy(outer.data + outer.n, b.data, b.n);
        outer.n += b.n;
        b = outer;
    }
    return b;
}

static void nests_so_deep_and_no_deeper(void **state)
{
    (void) state;
    struct lm_eid eid;
    for (unsigned depth = 0; depth <= 100; depth++) {
        struct bytes b = nested(depth);
        enum lm_ndef want = depth <= LM_NDEF_DEPTH ? LM_NDEF_OK : LM_NDEF_TOO_DEEP;
        assert_int_equal(lm_ndef_code(b.data, b.n, &eid), want);
    }
}

static enum lm_ndef stop_at_once(const struct lm_ndef_record *rec, void *ctx)
{
    unsigned *n = ctx;
    (void) rec;
    (*n)++;
    return LM_NDEF_NO_CODE;
}

static void stops_when_told(void **state)
{
    (void) state;
    struct bytes b = of_hex("9101015861 5101015962");
    unsigned n = 0;
    assert_int_equal(lm_ndef_records(b.data, b.n, stop_at_once, &n), LM_NDEF_NO_CODE);
    assert_int_equal(n, 1);
    uint8_t big[LM_NDEF_MAX + 1] = {0xC1, 1, 0, 0, 3, 0xFA, 'X'};
    assert_int_equal(lm_ndef_records(big, LM_NDEF_MAX, stop_at_once, &n), LM_NDEF_BROKEN);
    big[5] = 0xF9; /* 1024 bytes in all */
    assert_int_equal(lm_ndef_records(big, LM_NDEF_MAX, stop_at_once, &n), LM_NDEF_NO_CODE);
    assert_int_equal(lm_ndef_records(big, LM_NDEF_MAX + 1, stop_at_once, &n), LM_NDEF_BROKEN);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(finds_the_message),
        cmocka_unit_test(knows_the_container),
        cmocka_unit_test(reads_around_reserved_bytes),
        cmocka_unit_test(a_tag_cut_anywhere_is_cut),
        cmocka_unit_test(takes_records_apart),
        cmocka_unit_test(nests_so_deep_and_no_deeper),
        cmocka_unit_test(stops_when_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}

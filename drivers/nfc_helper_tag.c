/*
 * One tag: its memory, what is written there, or its own number.
 */
#include "nfc_helper.h"

#include <stdio.h>
#include <string.h>

#include "lugmark/ndef.h"

#define READ_COMMAND 0x30
#define READ_BYTES 16u /**< four pages of four bytes */
#define PAGE_BYTES 4u
/** A tag that fails so often in a row is not leaving: something is wrong with it. */
#define TORN_MAX 5u

/** The number of a chip as a code. @return LM_OK, or what lm_eid_from_uid() gives. */
static enum lm_err number_of(const nfc_target *target, struct lm_eid *eid)
{
    const nfc_iso14443a_info *a = &target->nti.nai;
    char hex[2 * sizeof a->abtUid + 1] = "";
    size_t n = a->szUidLen < sizeof a->abtUid ? a->szUidLen : sizeof a->abtUid;
    for (size_t i = 0; i < n; i++)
        snprintf(hex + 2 * i, 3, "%02X", a->abtUid[i]);
    return lm_eid_from_uid(hex, 2 * n, eid);
}

static bool read_pages(nfc_device *dev, uint8_t page, uint8_t out[READ_BYTES])
{
    const uint8_t command[] = {READ_COMMAND, page};
    uint8_t answer[64];
    helper_watch();
    int n = nfc_initiator_transceive_bytes(
        dev, command, sizeof command, answer, sizeof answer, HELPER_EXCHANGE_MS);
    if (n != (int) READ_BYTES)
        return false;
    memcpy(out, answer, READ_BYTES);
    return true;
}

/** Read as much of a tag as it takes to know. @return false when the tag stopped answering. */
static bool read_memory(nfc_device *dev, uint8_t memory[LM_T2T_MAX], size_t *len)
{
    uint8_t message[LM_NDEF_MAX];
    size_t n, size = READ_BYTES;
    for (*len = 0; *len < size; *len += READ_BYTES) {
        if (!read_pages(dev, (uint8_t) (*len / PAGE_BYTES), memory + *len))
            return false;
        if (*len == 0)
            size = lm_t2t_size(memory, READ_BYTES);
        if (lm_t2t_message(memory, *len + READ_BYTES, message, &n) != LM_NDEF_CUT)
            size = *len + READ_BYTES;
    }
    return true;
}

/** Whether it is worth saying: what is simply not there is the ordinary case of a bare chip. */
static bool is_odd(enum lm_ndef why)
{
    return why != LM_NDEF_NO_TAG && why != LM_NDEF_EMPTY && why != LM_NDEF_NO_CODE;
}

static bool is_news(struct tag_memory *memory, uint64_t key)
{
    for (unsigned i = 0; i < TAGS_SAID; i++) {
        if (memory->said[i] == key)
            return false;
    }
    memory->said[memory->n_said++ % TAGS_SAID] = key;
    return true;
}

static enum tag_what tear(struct tag_memory *memory, struct lm_eid uid)
{
    uint64_t key = lm_eid_key(uid);
    char text[LM_EID_TEXT_SIZE];
    memory->torn = memory->torn_key == key ? memory->torn + 1 : 1;
    memory->torn_key = key;
    if (memory->torn < TORN_MAX)
        return TAG_TORN;
    memory->torn = TORN_MAX;
    if (is_news(memory, key))
        helper_say("tag %s cannot be read to its end; it is given by its number",
            lm_eid_format(uid, text));
    return TAG_UID;
}

enum tag_what tag_read(nfc_device *dev, const nfc_target *target, bool uid_only,
    struct tag_memory *memory, struct lm_eid *eid)
{
    uint8_t bytes[LM_T2T_MAX];
    char text[LM_EID_TEXT_SIZE];
    size_t len = 0;
    if (number_of(target, eid) != LM_OK || lm_eid_uid_is_random(*eid)) {
        if (is_news(memory, 1))
            helper_say("a chip without a number of its own was passed over (a telephone or a card "
                       "makes up a new one each time)");
        return TAG_PASSED;
    }
    /* SAK 00: a Type 2 tag. Others have no memory that READ reaches without keys. */
    if (uid_only || target->nti.nai.btSak != 0)
        return TAG_UID;
    struct lm_eid code;
    if (!read_memory(dev, bytes, &len))
        return tear(memory, *eid);
    memory->torn = 0;
    enum lm_ndef why = lm_t2t_code(bytes, len, &code);
    if (why == LM_NDEF_OK) {
        *eid = code;
        return TAG_CODE;
    }
    if (is_odd(why) && is_news(memory, lm_eid_key(*eid)))
        helper_say(
            "tag %s: %s; it is given by its number", lm_eid_format(*eid, text), lm_ndef_say(why));
    return TAG_UID;
}

/* Any bytes as the daemon's configuration: each mistake is told, or readers come of it that are
 * made and freed again without being opened. */
#include "fuzz_help.h"

#include "daemon/daemon.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char path[32], settings[LM_SETTINGS_MAX + 1];
    const char *lanes[CONFIG_LANES + CONFIG_READERS];
    unsigned problems = 0;
    FILE *in = fuzz_file(data, size);
    struct config *cfg = config_new();
    MUST(cfg != NULL);
    snprintf(path, sizeof path, "/dev/fd/%d", fileno(in));
    enum lm_err err = config_read(cfg, path, fuzz_count, &problems);
    MUST((err == LM_EINPUT) == (problems > 0) && (err == LM_OK || err == LM_EINPUT));
    MUST(cfg->n_readers <= CONFIG_READERS && cfg->n_lanes <= CONFIG_LANES);
    if (err == LM_OK) {
        struct readers readers;
        err = readers_new(&readers, cfg, fuzz_count, &problems);
        MUST((err == LM_OK && problems == 0) || (err == LM_EINPUT && problems > 0));
        readers_end(&readers);
        MUST(config_lane_names(cfg, lanes) >= 1);
        config_session_settings(cfg, settings);
        MUST(memchr(settings, '\0', sizeof settings) != NULL);
    }
    free(cfg);
    fclose(in);
    return 0;
}

/* lugmark: the command line. */
#include "command.h"

int main(int argc, char **argv)
{
    return lm_cli_main(argc, argv);
}

#include <stdio.h>
#include <string.h>

#include "base/memory.h"
#include "cli.h"

static const char help[] =
    "wavepost - spectra as files, and the archive of a gateway\n"
    "\n"
    "Files:\n"
    "  wavepost inspect [--json] [--points] FILE...\n"
    "      what is in exported files: spectra, bands, remarks, verdict\n"
    "  wavepost sheet FILE -o OUT.pdf|.png|.svg [--person T] [--course T] [--section T]\n"
    "      [--sample T] [--paper a4|letter] [--block N]\n"
    "      the standard labelled sheet of one spectrum\n"
    "  wavepost convert FILE --to jcamp|jcamp-difdup|csv -o OUT [--block N]\n"
    "\n"
    "A gateway's data folder (--data DIR, or WAVEPOST_DATA; the gateway may run or not).\n"
    "--as LOGIN, or WAVEPOST_AS, says who is at work, for the ledger:\n"
    "  wavepost verify\n"
    "      re-hashes every object and checks every reference and the ledger\n"
    "  wavepost instrument add NAME --place PATH [--first-printer P] [--second-printer P]\n"
    "      [--public-url URL] [--preparation T] [--plates T] [--how-to-export T]\n"
    "      prints the join string for the instrument's agent as its last word\n"
    "  wavepost instrument join-code|bench-code NAME\n"
    "  wavepost instrument list\n"
    "  wavepost printer add NAME --uri ipp://HOST:PORT/PATH --place PATH [--where T]\n"
    "  wavepost printer list|pause|resume|drain|remove [NAME]\n"
    "  wavepost person add|change LOGIN [--given T] [--family T] [--email T] [--alias T]\n"
    "      [--role technician|administrator] [--password-stdin]\n"
    "  wavepost person list [TEXT]\n"
    "  wavepost course add|change CODE [--title T] [--printing ask|at-once|inbox]\n"
    "      [--mailing digest|each|link|none] [--pages-a-day N]\n"
    "      [--y-axis transmittance|absorbance] [--x-scale even|half]\n"
    "  wavepost term add|change CODE --first DAY --last DAY [--title T]\n"
    "  wavepost term remove CODE\n"
    "  wavepost section add|change CODE --course CODE [--title T] [--place PATH] [--term CODE]\n"
    "  wavepost section end|reopen CODE --course CODE\n"
    "  wavepost experiment add|change CODE --course CODE [--title T] [--technique T]\n"
    "      [--expected N] [--preparation T] [--plates T] [--sample T]... [--has-oh]\n"
    "  wavepost experiment end|reopen CODE --course CODE\n"
    "  wavepost timetable add --course CODE --section CODE --weekday DAY --starts 14:00\n"
    "      --ends 17:00 [--from DAY] [--until DAY] [--place PATH]\n"
    "  wavepost timetable change NUMBER [--weekday DAY] [--starts T] [--ends T] ...\n"
    "  wavepost timetable except --day DAY (--course CODE --section CODE | --term CODE)\n"
    "      [--moved-to DAY] [--starts T] [--ends T] [--place PATH] [--undo]\n"
    "  wavepost timetable end NUMBER\n"
    "  wavepost meeting add --course CODE --section CODE --day DAY --starts 14:00 --ends 17:00\n"
    "      a single one; --starts and --ends may be instants, without --day\n"
    "  wavepost meeting remove NUMBER\n"
    "  wavepost staff add|remove LOGIN --course CODE --section CODE\n"
    "      [--role instructor|demonstrator|marker]...\n"
    "  wavepost roster FILE.csv --course CODE --section CODE [--dry-run]\n"
    "  wavepost student add|leave LOGIN --course CODE --section CODE [--number T]\n"
    "  wavepost student move LOGIN --course CODE --section CODE --to SECTION\n"
    "  wavepost course|term|section|experiment|timetable|staff|roster list [--course CODE\n"
    "      [--section CODE]]\n"
    "  wavepost turn add LOGIN --instrument NAME --course CODE --section CODE --starts TIME\n"
    "      --ends TIME [--with LOGIN] [--sample T] [--dry-run]\n"
    "      a turn that was forgotten, entered afterwards; says what it takes over\n"
    "  wavepost remove NUMBER|DIGEST [--confirm NUMBER --reason T]\n"
    "      a private spectrum, or a file that is none, for good; without --confirm only says what "
    "goes\n"
    "  wavepost erase LOGIN [--spectra keep|remove] [--confirm LOGIN --reason T]\n"
    "      a person, for good; their spectra stay without a name, or go\n"
    "  wavepost fleet | classes | unclaimed | notices | unread | ledger [--check] | deliveries\n"
    "      lists; with --json all that is known of them, for programs\n"
    "\n"
    "Exit codes: 0 done, 1 could not be done, 2 wrong usage. The manual is wavepost(1).\n";

static const struct {
    const char *name;
    int (*run)(int argc, char **argv);
} verbs[] = {
    {"inspect", wp_cli_inspect},   {"sheet", wp_cli_sheet},       {"convert", wp_cli_convert},
    {"verify", wp_cli_verify},     {"instrument", wp_cli_set_up}, {"printer", wp_cli_set_up},
    {"person", wp_cli_set_up},     {"course", wp_cli_set_up},     {"section", wp_cli_set_up},
    {"experiment", wp_cli_set_up}, {"meeting", wp_cli_set_up},    {"staff", wp_cli_set_up},
    {"roster", wp_cli_set_up},     {"student", wp_cli_set_up},    {"term", wp_cli_set_up},
    {"timetable", wp_cli_set_up},  {"fleet", wp_cli_set_up},      {"unclaimed", wp_cli_set_up},
    {"classes", wp_cli_set_up},    {"notices", wp_cli_set_up},    {"unread", wp_cli_set_up},
    {"ledger", wp_cli_set_up},     {"deliveries", wp_cli_set_up}, {"remove", wp_cli_set_up},
    {"erase", wp_cli_set_up},      {"turn", wp_cli_set_up},
};

/* --data and --as may stand before the verb: they are moved behind it. */
static void bring_verb_first(int argc, char **argv)
{
    static const char *const names[] = {"--data", "--as"};
    for (int round = 0; round < 2 && argc > 2; round++)
        for (size_t n = 0; n < 2; n++) {
            size_t length = strlen(names[n]);
            bool joined = !strncmp(argv[1], names[n], length) && argv[1][length] == '=';
            int taken = joined ? 1 : !strcmp(argv[1], names[n]) ? 2 : 0;
            for (; taken > 0 && argc > 2; taken--) {
                char *first = argv[1];
                memmove(&argv[1], &argv[2], (size_t)(argc - 2) * sizeof argv[0]);
                argv[argc - 1] = first;
            }
        }
}

int main(int argc, char **argv)
{
    wp_memory_keep();
    bring_verb_first(argc, argv);
    if (argc < 2)
        return wp_cli_usage("a verb is missing");
    if (!strcmp(argv[1], "--help") || !strcmp(argv[1], "-h") || !strcmp(argv[1], "help"))
        return fputs(help, stdout) < 0;
    if (!strcmp(argv[1], "--version"))
        return printf("wavepost %s\n", WP_VERSION) < 0;
    for (size_t i = 0; i < sizeof verbs / sizeof verbs[0]; i++)
        if (!strcmp(verbs[i].name, argv[1])) {
            for (int a = 2; a < argc; a++)
                if (!strcmp(argv[a], "--help"))
                    return fputs(help, stdout) < 0;
            return verbs[i].run(argc, argv);
        }
    fprintf(stderr, "wavepost: there is no verb \"%s\"; see wavepost --help\n", argv[1]);
    return WP_EXIT_USAGE;
}

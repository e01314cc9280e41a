#include <cstdlib>
#include <exception>
#include <fstream>
#include <iostream>

#include <CLI/CLI.hpp>
#include <spdlog/sinks/stdout_color_sinks.h>
#include <spdlog/spdlog.h>

#include "protocol/firmware/generate.hpp"
#include "server/commands/check.hpp"
#include "server/commands/serve.hpp"
#include "server/record/reprocess.hpp"
#include "server/setup/serve_setup.hpp"
#include "server/setup/settings.hpp"

namespace {

using namespace turnstone;

constexpr const char* kFooter = "Turnstone only receives: it sends nothing to a vehicle and cannot arm or "
                                "fire anything. The range safety officer,\n"
                                "local law and the site's safety code decide.";

struct ServeOptions {
    std::string file;
    Options given; ///< by the option of each setting
};

void add_serve_options(CLI::App& serve, ServeOptions& options) {
    serve.add_option("--config", options.file, "Settings file, JSON with comments; options on the command line win")
        ->type_name("FILE");
    for (const Setting& setting : settings_table()) {
        if (setting.option.empty()) continue;
        const std::string option(setting.option);
        std::vector<std::string>& values = options.given[option];
        if (setting.value_name.empty())
            serve.add_flag(option, values, option_help(setting));
        else
            serve.add_option(option, values, option_help(setting))
                ->type_name(std::string(setting.value_name))
                ->take_all()
                ->expected(1);
    }
}

int fail_with(const std::vector<Problem>& problems) {
    std::cerr << to_string(problems) << "\n";
    return EXIT_FAILURE;
}

int serve_command(const ServeOptions& options) {
    std::vector<Problem> problems;
    Settings settings;
    if (!options.file.empty()) read_settings_file(options.file, settings, problems);
    read_options(options.given, settings, problems);
    if (!problems.empty()) return fail_with(problems);
    auto setup = read_setup(settings, problems);
    return setup ? run_server(settings, std::move(*setup)) : fail_with(problems);
}

int firmware_command(const std::string& folder, const std::string& output) {
    std::vector<Problem> problems;
    const auto setup = read_vehicle_folder(folder, problems);
    if (!setup) return fail_with(problems);
    const std::string header = generate_firmware_header(setup->dictionary);
    if (output.empty()) {
        std::cout << header << std::flush;
        return std::cout ? EXIT_SUCCESS : EXIT_FAILURE;
    }
    std::ofstream file(output, std::ios::binary | std::ios::trunc);
    file << header;
    file.close();
    if (!file) {
        std::cerr << "turnstone: " << output << " cannot be written; check the folder and the disk\n";
        return EXIT_FAILURE;
    }
    return EXIT_SUCCESS;
}

int check_command(const std::vector<std::string>& paths) {
    const std::size_t mistakes = check_files({paths.begin(), paths.end()}, std::cout);
    std::cout << std::flush;
    return mistakes == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}

int reprocess_command(const std::string& file, const std::vector<std::string>& vehicles, const std::string& output) {
    const std::filesystem::path folder = std::filesystem::path(file).parent_path();
    const auto made = reprocess(file, {vehicles.begin(), vehicles.end()},
                                output.empty() ? (folder.empty() ? "." : folder) : std::filesystem::path(output));
    if (!made) {
        std::cerr << "turnstone: " << made.error().message << "\n";
        return EXIT_FAILURE;
    }
    std::cout << made->string() << "\n" << std::flush;
    return EXIT_SUCCESS;
}

int verify_command(const std::vector<std::string>& files) {
    bool all_equal = true;
    for (const auto& file : files) {
        const auto report = verify_recording(file);
        if (!report) {
            std::cerr << "turnstone: " << report.error().message << "\n";
            all_equal = false;
            continue;
        }
        std::cout << file << ": " << report->chunks << " chunks and " << report->actions << " actions give ";
        if (report->differences == 0) {
            std::cout << "the same " << report->frames << " frames, " << report->rows << " rows and " << report->events
                      << " events again, bit for bit\n";
        } else {
            std::cout << report->differences << " differences; the first: " << report->first_difference << "\n";
            all_equal = false;
        }
    }
    std::cout << std::flush;
    return all_equal ? EXIT_SUCCESS : EXIT_FAILURE;
}

int run(int argc, char** argv) {
    CLI::App app{"Turnstone, a telemetry ground station: it records every byte its links deliver, decodes and checks\n"
                 "them, estimates what the vehicle does, and shows it live in browsers.",
                 "turnstone"};
    app.footer(kFooter);
    app.require_subcommand(1);

    ServeOptions serve_options;
    CLI::App* const serve = app.add_subcommand("serve", "Receive, record and show");
    serve->footer(std::string("Example:\n  turnstone serve --vehicle my-rocket --site site.json "
                              "--link serial:/dev/ttyUSB0?baud=57600\n\n") +
                  kFooter);
    add_serve_options(*serve, serve_options);

    std::vector<std::string> check_paths;
    CLI::App* const check = app.add_subcommand("check", "Check vehicle folders, site files and settings files");
    check->add_option("path", check_paths, "Files or folders")->type_name("FILE_OR_DIR")->required();

    std::string firmware_folder;
    std::string firmware_output;
    CLI::App* const firmware = app.add_subcommand("firmware", "Write the C99 header with which firmware sends packets");
    firmware->add_option("folder", firmware_folder, "Vehicle folder")->type_name("DIR")->required();
    firmware->add_option("-o,--output", firmware_output, "File to write; without it, standard output")
        ->type_name("FILE");

    std::vector<std::string> verify_files;
    CLI::App* const verify = app.add_subcommand(
        "verify", "Feed recordings' stored inputs through the pipeline and compare with what they hold, bit for bit");
    verify->add_option("files", verify_files, "Recordings")->type_name("FILE")->required();
    verify->footer(kFooter);

    std::string reprocess_file;
    std::vector<std::string> reprocess_vehicles;
    std::string reprocess_output;
    CLI::App* const again =
        app.add_subcommand("reprocess", "Make a new recording from an old one's bytes with this version's estimators");
    again->add_option("file", reprocess_file, "Recording")->type_name("FILE")->required();
    again
        ->add_option("--vehicle", reprocess_vehicles,
                     "Vehicle folder used in place of the recording's vehicle of that name; repeat for several")
        ->type_name("DIR")
        ->take_all()
        ->expected(1);
    again->add_option("-o,--output", reprocess_output, "Where the new recording goes (default: beside the old one)")
        ->type_name("DIR");

    CLI::App* const version = app.add_subcommand("version", "Print the version");

    CLI11_PARSE(app, argc, argv);

    if (serve->parsed()) return serve_command(serve_options);
    if (check->parsed()) return check_command(check_paths);
    if (firmware->parsed()) return firmware_command(firmware_folder, firmware_output);
    if (again->parsed()) return reprocess_command(reprocess_file, reprocess_vehicles, reprocess_output);
    if (verify->parsed()) return verify_command(verify_files);
    if (version->parsed()) std::cout << "turnstone " TURNSTONE_VERSION "\n";
    return EXIT_SUCCESS;
}

} // namespace

int main(int argc, char** argv) {
    try {
        auto log = spdlog::stderr_color_mt("turnstone");
        log->set_pattern("%Y-%m-%dT%H:%M:%S.%eZ %^%l%$ %v", spdlog::pattern_time_type::utc);
        spdlog::set_default_logger(std::move(log));
        return run(argc, argv);
    } catch (const std::exception& error) {
        std::cerr << "turnstone: " << error.what() << "\n";
        return EXIT_FAILURE;
    }
}

#pragma once
/// Recordings made by hand: a setup's own tables, with rows and events as a test wants them.
#include <algorithm>
#include <initializer_list>
#include <limits>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/pipeline/events.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "server/record/write/recorder.hpp"
#include "tests/support/demo_setup.hpp"
#include "tests/support/recorder_settings.hpp"
#include "tests/support/temporary_folder.hpp"
#include "tests/support/tree.hpp"

namespace turnstone::report_test {

inline constexpr std::int64_t kStart_ns = 1'779'028'325'000'000'000; // 2026-05-17T14:32:05Z

using test::demo_setup;

using NamedValues = std::vector<std::pair<std::string, double>>;

class HandMade {
  public:
    explicit HandMade(PipelineSetup setup, std::int64_t t_start_ns = kStart_ns)
        : setup_(std::move(setup)), t_start_ns_(t_start_ns), schema_(Pipeline(setup_, t_start_ns).schema()) {}

    /// A table that the setup has not by itself.
    void add_table(const std::string& name, TableKind kind, double period_s, std::vector<Column> columns) {
        Table table;
        table.id = static_cast<TableId>(schema_.tables.size());
        table.name = name;
        table.title = name;
        table.kind = kind;
        table.vehicle = kind == TableKind::link ? -1 : 0;
        table.period_s = period_s;
        table.number_count = columns.size();
        table.columns = std::move(columns);
        schema_.tables.push_back(std::move(table));
    }
    [[nodiscard]] bool has_table(const std::string& name) const {
        return std::ranges::find(schema_.tables, name, &Table::name) != schema_.tables.end();
    }
    Table& table(const std::string& name) {
        const auto found = std::ranges::find(schema_.tables, name, &Table::name);
        if (found == schema_.tables.end()) throw std::runtime_error("no table " + name);
        return *found;
    }
    /// What is not named has no value. A name that there is not is a mistake of the test.
    void row(const std::string& name, double t_s, const NamedValues& values) {
        const Table& of = table(name);
        std::vector<double> numbers(of.number_count, std::numeric_limits<double>::quiet_NaN());
        for (const auto& [column, value] : values) {
            const auto found = std::ranges::find(of.columns, column, &Column::name);
            if (found == of.columns.end()) throw std::runtime_error("no column " + column + " in " + name);
            numbers[static_cast<std::size_t>(found - of.columns.begin())] = value;
        }
        rows_.push_back({of.id, t_s, std::move(numbers), of.columns.size() - of.number_count});
    }
    void event(EventId id, double t_s, EventValues values = {}, const std::string& about = "", bool cleared = false,
               double t_sigma_s = 0, int vehicle = 0) {
        events_.push_back(make_event({.id = id,
                                      .t_ns = at(t_s),
                                      .t_sigma_s = t_sigma_s,
                                      .about = about,
                                      .values = std::move(values),
                                      .cleared = cleared},
                                     at(t_s),
                                     {vehicle, vehicle == 0 ? setup_.vehicles[0].dictionary.vehicle : "another"}));
    }
    [[nodiscard]] std::int64_t at(double t_s) const { return t_start_ns_ + static_cast<std::int64_t>(t_s * 1e9); }
    PipelineSetup& setup() { return setup_; }

    /// Records all of it, to the second `end_s`; returns the file.
    std::filesystem::path record(const test::TemporaryFolder& folder, double end_s) {
        return record_on(folder, end_s).second;
    }
    /// The same, and the recorder that still has the file open.
    std::pair<std::unique_ptr<Recorder>, std::filesystem::path> record_on(const test::TemporaryFolder& folder,
                                                                          double end_s) {
        std::ranges::stable_sort(rows_, {}, &Row::t_s);
        auto recorder = std::make_unique<Recorder>(test::recorder_settings(folder.path()), setup_);
        const std::string id = recorder->begin(
            schema_, {.t_start_ns = t_start_ns_, .utc_start_ns = t_start_ns_, .name = "", .continues = ""},
            t_start_ns_);
        auto inputs = std::make_shared<Inputs>();
        const std::string text = "bytes of " + id;
        const auto bytes = std::as_bytes(std::span(text));
        inputs->bytes.assign(bytes.begin(), bytes.end());
        inputs->chunks.push_back({0, 0, at(end_s), at(end_s), 0, false, {0, static_cast<std::uint32_t>(text.size())}});
        auto batch = std::make_shared<Batch>();
        for (const Row& each : rows_) {
            const std::vector<std::string_view> texts(each.texts);
            batch->add_row(schema_.tables[each.table], at(each.t_s), at(each.t_s), each.numbers, texts);
        }
        batch->events = events_;
        recorder->push(inputs);
        recorder->push(batch, {1, at(end_s)});
        return {std::move(recorder), folder.recording(id)};
    }

  private:
    struct Row {
        TableId table;
        double t_s;
        std::vector<double> numbers;
        std::size_t texts;
    };
    PipelineSetup setup_;
    std::int64_t t_start_ns_;
    Schema schema_;
    std::vector<Row> rows_;
    std::vector<Event> events_;
};

/// Whether every tag that is opened is closed in its turn: text that got out of its place would spoil it.
inline bool is_well_formed(const std::string& html) {
    static const std::vector<std::string> kVoid{"meta", "br", "!doctype"};
    std::vector<std::string> open;
    for (std::size_t at = 0; (at = html.find('<', at)) != std::string::npos;) {
        const std::size_t end = html.find('>', at);
        if (end == std::string::npos) return false;
        const std::string tag = html.substr(at + 1, end - at - 1);
        const bool closes = tag.starts_with('/');
        const std::string name = tag.substr(closes ? 1 : 0, tag.find_first_of(" /", 1) - (closes ? 1 : 0));
        at = end;
        if (tag.ends_with('/') || std::ranges::find(kVoid, name) != kVoid.end()) continue;
        if (!closes) {
            open.push_back(name);
        } else {
            if (open.empty() || open.back() != name) return false;
            open.pop_back();
        }
    }
    return open.empty();
}

} // namespace turnstone::report_test

#pragma once
/// A desk on a bench: a vehicle and a weather station with packets of their own, rows and events by hand, ticks.
#include <cmath>
#include <map>
#include <optional>
#include <stdexcept>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/monitor/desk.hpp"
#include "server/pipeline/events.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "shared/time.hpp"

namespace turnstone::test {

inline constexpr std::int64_t kDeskStart_ns = 1'780'000'000 * kNsPerS;

inline VehicleSetup desk_vehicle(const std::string& name, const std::string& packets,
                                 const std::vector<FolderFile>& files = {}) {
    std::vector<Problem> problems;
    auto vehicle =
        read_vehicle_texts(R"({"vehicle": ")" + name + R"(", "title": "T", "version": "2.1", "byte_order": "big",
        "time": {"format": "u32_ms"}, "packets": [)" +
                               packets + "]}",
                           R"({"name": ")" + name + R"("})", name, problems, files);
    if (!vehicle) throw std::runtime_error(to_string(problems));
    return *std::move(vehicle);
}

/// "alpha" with packets of every rate, and "mast" with a wind.
inline PipelineSetup desk_setup(const std::vector<FolderFile>& files) {
    PipelineSetup setup;
    setup.vehicles.push_back(desk_vehicle("alpha", R"(
        {"apid": 1, "name": "imu", "period_ms": 20, "fields": [
          {"name": "x", "type": "f32", "unit": "m/s2"}, {"name": "y", "type": "f32", "unit": "m/s2"},
          {"name": "z", "type": "f32", "unit": "m/s2"}]},
        {"apid": 2, "name": "health", "period_ms": 500, "fields": [
          {"name": "battery", "type": "f32", "unit": "V", "valid_range": [6, 9]}, {"name": "counter", "type": "u32", "unit": "1"},
          {"name": "temperature", "type": "f32", "unit": "K"},
          {"name": "firmware", "type": "text", "octets": 8, "unit": "1"}]},
        {"apid": 3, "name": "shot", "period_ms": 0, "fields": [{"name": "lid", "type": "f32", "unit": "s"}]},
        {"apid": 4, "name": "baro", "period_ms": 40, "fields": [{"name": "pressure", "type": "f32", "unit": "Pa"}]})",
                                          files));
    setup.vehicles.push_back(desk_vehicle("mast", R"({"apid": 1, "name": "wind", "period_ms": 1000, "fields": [
          {"name": "speed", "type": "f32", "unit": "m/s"}]})"));
    setup.site.pad = setup.site.station = {40, -118, 1200};
    setup.site.pad_pressure_pa = 88'000;
    setup.links = {
        {"radio", "udp://127.0.0.1:1", 0}, {"spare", "udp://127.0.0.1:2", 0}, {"mast", "udp://127.0.0.1:3", 1}};
    return setup;
}

class DeskBench {
  public:
    using Values = std::map<std::string, double>;

    explicit DeskBench(const std::vector<FolderFile>& files) : DeskBench(desk_setup(files)) {}
    explicit DeskBench(PipelineSetup of)
        : setup(std::move(of)), schema(Pipeline(setup, kDeskStart_ns).schema()), desk(setup, schema, kDeskStart_ns) {}

    [[nodiscard]] double t_s() const { return static_cast<double>(tick_) / 10; }
    [[nodiscard]] std::int64_t at_ns(double t_s) const { return kDeskStart_ns + std::llround(t_s * 1e9); }
    [[nodiscard]] std::int64_t now_ns() const { return at_ns(t_s()); }

    /// A row at a time, now when left out; what is not given is NaN.
    void row(const std::string& table, const Values& values, std::optional<double> at_s = {},
             const std::vector<std::string_view>& texts = {}) {
        const Table& into = named(table);
        std::vector<double> numbers(into.number_count, kNaN);
        for (const auto& [name, value] : values) numbers.at(place(into, name)) = value;
        std::vector<std::string_view> words = texts;
        words.resize(into.columns.size() - into.number_count);
        const Marks from = out.marks();
        out.add_row(into, at_ns(at_s.value_or(t_s())), now_ns(), numbers, words);
        desk.see(out, from, now_ns());
    }
    void event(EstimateEvent happened, int vehicle = 0) {
        const Marks from = out.marks();
        out.events.push_back(make_event(std::move(happened), now_ns(), {vehicle, vehicle == 0 ? "alpha" : "mast"}));
        desk.see(out, from, now_ns());
    }
    void event(EventId id, std::optional<double> at_s = {}) { event({.id = id, .t_ns = at_ns(at_s.value_or(t_s()))}); }
    /// Ticks up to a time; `each` before every one.
    template <class Each>
    void run(double until_s, Each&& each) {
        while (t_s() < until_s - 1e-9) {
            ++tick_;
            each();
            desk.tick(now_ns(), out);
        }
    }
    void run(double until_s) {
        run(
            until_s, [] {});
    }
    template <class What>
    void act(const What& what) {
        const Marks from = out.marks();
        desk.take(what, now_ns(), out);
        desk.see(out, from, now_ns());
    }

    /// What the desk of the recording before carries, as it is written and read.
    void go_on_from(const std::vector<Action>& carried) {
        for (const Action& action : carried) {
            if (action_from_json(to_json(action)) != action)
                throw std::runtime_error("not read as it was written: " + to_json(action));
            std::visit(
                [&](const auto& what) {
                    if constexpr (requires { desk.take(what, std::int64_t{}, out); }) act(what);
                },
                action);
        }
    }

    /// Of the newest row of a table.
    [[nodiscard]] double newest(const std::string& table, const std::string& column) const {
        const Table& of = named(table);
        for (auto each = out.rows.rbegin(); each != out.rows.rend(); ++each)
            if (each->table == of.id) return out.numbers_of(*each, of)[place(of, column)];
        throw std::runtime_error("no row of " + table);
    }
    [[nodiscard]] std::string state(const std::string& table, const std::string& check) const {
        return std::string(word(static_cast<CheckState>(newest(table, check + "_state"))));
    }
    /// "begun bench", "decided lid holds" and the like, of events since the last call.
    [[nodiscard]] std::vector<std::string> story() {
        std::vector<std::string> lines;
        for (; told_ < out.events.size(); ++told_) {
            const Event& event = out.events[told_];
            std::string line(word(event.id.value_or(EventId::note)));
            for (const EventValue& value : event.values) {
                const bool tells = value.name == "check" || value.name == "step" || value.name == "state" ||
                                   value.name == "verdict" || value.name == "position";
                if (tells) line += " " + std::get<std::string>(value.value);
            }
            lines.push_back(line);
        }
        return lines;
    }
    [[nodiscard]] const Event* last(EventId id) const {
        for (auto each = out.events.rbegin(); each != out.events.rend(); ++each)
            if (each->id == id) return &*each;
        return nullptr;
    }

    [[nodiscard]] const Table& named(const std::string& name) const {
        for (const Table& table : schema.tables)
            if (table.name == name) return table;
        throw std::runtime_error("no table " + name);
    }
    static std::size_t place(const Table& table, const std::string& column) {
        for (std::size_t k = 0; k < table.columns.size(); ++k)
            if (table.columns[k].name == column) return k;
        throw std::runtime_error("no column " + column);
    }

    PipelineSetup setup;
    Schema schema;
    Desk desk;
    Batch out;

  private:
    std::int64_t tick_ = 0;
    std::size_t told_ = 0;
};

/// A readiness file with these checks, and positions by their ids.
inline FolderFile readiness_file(const nlohmann::json& checks, const std::vector<std::string>& positions = {}) {
    nlohmann::json json{{"groups", {{{"title", "All"}, {"checks", checks}}}}, {"positions", nlohmann::json::array()}};
    for (const std::string& id : positions) json["positions"].push_back({{"id", id}, {"title", id}});
    return {"readiness.json", json.dump()};
}

} // namespace turnstone::test

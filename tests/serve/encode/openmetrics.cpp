#include "tests/serve/encode/openmetrics.hpp"

#include <cmath>
#include <cstdlib>
#include <limits>
#include <regex>
#include <set>
#include <stdexcept>
#include <utility>

namespace openmetrics {
namespace {

struct Invalid : std::runtime_error {
    using runtime_error::runtime_error;
};

void demand(bool holds, const std::string& problem) {
    if (!holds) throw Invalid(problem);
}

/// ABNF: number, and "Numbers" for the three that are not real.
double number(const std::string& text) {
    static const std::regex kReal("[+-]?([0-9]+(\\.[0-9]*)?|\\.[0-9]+)([eE][+-]?[0-9]+)?");
    if (text == "NaN") return std::numeric_limits<double>::quiet_NaN();
    if (text == "+Inf" || text == "-Inf") return (text[0] == '-' ? -1 : 1) * std::numeric_limits<double>::infinity();
    demand(std::regex_match(text, kReal), "not a number: " + text);
    return std::strtod(text.c_str(), nullptr);
}

/// The part of a sample between its braces; `at` stands behind the opening one and is left behind the closing one.
Labels labels_at(const std::string& line, std::size_t& at) {
    static const std::regex kName("[a-zA-Z_][a-zA-Z0-9_]*");
    Labels labels;
    while (line.compare(at, 1, "}") != 0) {
        if (!labels.empty()) demand(line.compare(at++, 1, ",") == 0, "labels need a comma between them");
        const std::size_t equals = line.find("=\"", at);
        demand(equals != std::string::npos, "a label has no value");
        const std::string name = line.substr(at, equals - at);
        demand(std::regex_match(name, kName), "not a label name: " + name);
        std::string value;
        at = equals + 2;
        while (line.compare(at, 1, "\"") != 0) {
            demand(at < line.size(), "a label value does not end");
            if (line[at] != '\\') {
                value += line[at++];
                continue;
            }
            const char escaped = at + 1 < line.size() ? line[at + 1] : '?';
            demand(escaped == 'n' || escaped == '\\' || escaped == '"', "unknown escape");
            value += escaped == 'n' ? '\n' : escaped;
            at += 2;
        }
        ++at;
        demand(labels.emplace(name, value).second, "label twice: " + name);
    }
    ++at;
    return labels;
}

Sample sample_of(const std::string& line) {
    static const std::regex kName("[a-zA-Z_:][a-zA-Z0-9_:]*");
    Sample sample;
    std::size_t at = line.find_first_of("{ ");
    demand(at != std::string::npos, "not a sample: " + line);
    sample.name = line.substr(0, at);
    demand(std::regex_match(sample.name, kName), "not a metric name: " + sample.name);
    if (line[at] == '{') sample.labels = labels_at(line, ++at);
    demand(line.compare(at, 1, " ") == 0, "no blank before the value");
    sample.value = number(line.substr(at + 1));
    return sample;
}

std::string suffix_of(const Family& family) {
    return family.type == "counter" ? "_total" : "";
}

void check_sample(const Family& family, const Sample& sample) {
    if (family.type == "counter") demand(sample.value >= 0, "a counter starts from 0 and is not NaN: " + sample.name);
    if (family.type == "stateset") {
        demand(sample.labels.contains(family.name), "a state has a label named as its family: " + sample.name);
        demand(sample.value == 0 || sample.value == 1, "a state is 0 or 1: " + sample.name);
    }
}

class Reader {
  public:
    void line(const std::string& text) {
        demand(!ended_, "something follows # EOF");
        demand(text.find('\r') == std::string::npos, "a carriage return");
        if (text == "# EOF")
            ended_ = true;
        else if (text.starts_with("#"))
            metadata(text);
        else
            sample(sample_of(text));
    }
    std::vector<Family> end() {
        demand(ended_, "no # EOF");
        return std::move(families_);
    }

  private:
    void metadata(const std::string& text) {
        static const std::regex kForm("# (TYPE|UNIT|HELP) ([a-zA-Z_:][a-zA-Z0-9_:]*) (.*)");
        std::smatch match;
        demand(std::regex_match(text, match, kForm), "neither TYPE, UNIT, HELP nor EOF: " + text);
        if (families_.empty() || families_.back().name != match[2]) begin(match[2]);
        Family& family = families_.back();
        demand(family.samples.empty(), "metadata behind samples: " + family.name);
        demand(said_.insert(match[1]).second, match[1].str() + " twice: " + family.name);
        if (match[1] == "HELP") {
            family.help = match[3];
        } else if (match[1] == "TYPE") {
            family.type = match[3];
            const bool known = family.type == "counter" || family.type == "gauge" || family.type == "stateset" ||
                               family.type == "unknown";
            demand(known, "a type that is not read here: " + family.type);
            claim(family.name + suffix_of(family));
            if (family.type == "counter") claim(family.name + "_created");
        } else {
            family.unit = match[3];
            demand(family.name.ends_with("_" + family.unit), "the unit does not end the name: " + family.name);
        }
    }
    void sample(Sample sample) {
        if (families_.empty() || sample.name != families_.back().name + suffix_of(families_.back())) {
            begin(sample.name);
            claim(sample.name);
        }
        Family& family = families_.back();
        demand(metrics_.insert(sample.labels).second, "metric twice: " + sample.name);
        check_sample(family, sample);
        family.samples.push_back(std::move(sample));
    }
    void begin(const std::string& name) {
        demand(names_.insert(name).second, "family twice: " + name);
        families_.emplace_back().name = name;
        said_.clear();
        metrics_.clear();
    }
    /// "Suffixes": no two families may give samples of one name.
    void claim(const std::string& sample_name) {
        demand(sample_names_.insert(sample_name).second, "sample name of two families: " + sample_name);
    }

    std::vector<Family> families_;
    std::set<std::string> said_;  ///< metadata of the newest family
    std::set<Labels> metrics_;    ///< of the newest family
    std::set<std::string> names_; ///< of all families
    std::set<std::string> sample_names_;
    bool ended_ = false;
};

} // namespace

Exposition read(std::string_view text) {
    Exposition out;
    Reader reader;
    try {
        while (!text.empty()) {
            const std::size_t end = std::min(text.find('\n'), text.size());
            reader.line(std::string(text.substr(0, end)));
            text.remove_prefix(std::min(end + 1, text.size()));
        }
        out.families = reader.end();
    } catch (const Invalid& invalid) {
        out.problem = invalid.what();
    }
    return out;
}

} // namespace openmetrics

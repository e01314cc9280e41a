#include "protocol/xtce/space_systems.hpp"

namespace turnstone {

namespace {

/// "/a/b" with "../c" is "/a/c".
std::string joined(const std::string& system, const std::string& reference) {
    std::string path = reference.starts_with('/') ? "" : system;
    std::size_t at = 0;
    while (at < reference.size()) {
        const std::size_t end = std::min(reference.find('/', at), reference.size());
        const std::string part = reference.substr(at, end - at);
        at = end + 1;
        if (part == "..")
            path.resize(std::min(path.size(), path.rfind('/') == std::string::npos ? 0 : path.rfind('/')));
        else if (!part.empty() && part != ".")
            path += "/" + part;
    }
    return path;
}

} // namespace

SpaceSystems::SpaceSystems(const XmlElement& root) {
    root.mark_read();
    add(root, "");
}

void SpaceSystems::add(const XmlElement& system, const std::string& around) {
    const std::string path = around + "/" + system.attribute("name", "");
    const auto take = [&](XtceKind kind, const XmlElement& element) {
        items_.try_emplace({kind, path + "/" + element.attribute("name", "")}, XtceItem{&element, path});
    };
    if (const XmlElement* const telemetry = system.child("TelemetryMetaData")) {
        if (const XmlElement* const types = telemetry->child("ParameterTypeSet"))
            for (const auto& type : types->children()) take(XtceKind::type, *type);
        if (const XmlElement* const set = telemetry->child("ParameterSet"))
            for (const auto& parameter : set->children())
                if (parameter->name() == "Parameter") take(XtceKind::parameter, *parameter);
        if (const XmlElement* const set = telemetry->child("ContainerSet"))
            for (const XmlElement* const container : set->children("SequenceContainer")) {
                take(XtceKind::container, *container);
                containers_.push_back({container, path});
            }
    }
    for (const XmlElement* const inner : system.children("SpaceSystem")) add(*inner, path);
}

const XtceItem* SpaceSystems::find(XtceKind kind, const std::string& from, const std::string& reference) const {
    for (std::string system = from;; system.resize(system.rfind('/'))) {
        const auto found = items_.find({kind, joined(system, reference)});
        if (found != items_.end()) {
            found->second.element->mark_read();
            return &found->second;
        }
        if (system.empty() || reference.starts_with('/')) return nullptr;
    }
}

} // namespace turnstone
